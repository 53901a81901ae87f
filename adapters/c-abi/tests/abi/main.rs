//! Libraries compiled at test time: a good one is run, and each bad one is refused with a text
//! that says what it did and what the limit is.

mod good;
mod library;
mod misbehaving;
mod parts;
mod refused;
