//! Against standards, handbooks, general libraries and real volumes.

mod coding_theory;
mod copies_volume;
mod density;
mod fat12;
mod layouts;
mod reads_volume;
mod separators;
mod volume;
