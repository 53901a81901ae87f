//! The sample writes as the text says: media after the run, cell for cell, worked out by hand.

mod faults;
mod gate;
mod image;
mod play;
mod starts;
mod turn;
mod units;
