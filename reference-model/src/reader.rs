//! The reader: shift register, sync comparator, word counter, FIFO, flags (semantics 1 and 2).
//!
//! A controller is free in many small ways, so the model is an acceptor: it holds every
//! [`State`](state::State) that the observations so far allow, and each next observation narrows
//! the set. `state` is one such state, `step` lets bits pass, `accept` takes requests and `operate`
//! the host's other operations, `writing` fetches and lays words, `worlds` holds what writes have
//! made of the media, `answer` holds what was observed against a state, `merge` says which states
//! are one, `acceptor` walks a whole case, `rejection` says what no state allows, `predict` what
//! should have come instead, `ask` what may come next, and `supposition` holds the departures that
//! the judge may suppose.

mod accept;
pub mod acceptor;
mod answer;
pub mod ask;
mod merge;
mod operate;
pub mod predict;
pub mod rejection;
mod short_list;
pub mod state;
mod step;
pub mod supposition;
mod walk;
pub mod worlds;
pub mod writing;
