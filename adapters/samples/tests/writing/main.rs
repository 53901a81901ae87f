//! The sample writes as the text says: media after the run, cell for cell, worked out by hand.

mod gate;
mod play;
mod starts;
mod units;
