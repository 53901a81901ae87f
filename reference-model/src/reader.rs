//! The reader: shift register, sync comparator, word counter, FIFO, flags (semantics 1 and 2).
//!
//! A controller is free in many small ways, so the model is an acceptor: it holds every
//! [`State`](state::State) that the observations so far allow, and each next observation narrows
//! the set. `state` is one such state, `step` lets bits pass, `request` takes the host's
//! operations, `writing` fetches and lays words, `worlds` holds what
//! writes have made of the media, `answer` holds what was observed against it, `acceptor` walks a whole case,
//! `rejection` says what no state allows and `predict` what should have come instead.

pub mod acceptor;
mod answer;
pub mod predict;
pub mod rejection;
mod request;
pub mod state;
mod step;
pub mod worlds;
pub mod writing;
