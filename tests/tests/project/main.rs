//! The project against outside things, and the harness against implementations that are known to
//! be right or wrong. One program, so that the tests of all rooms share the cores.

mod house;
mod outside;
mod samples;
