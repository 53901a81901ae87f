//! Isolation: the implementation runs in processes of its own, and whatever it does to itself, the
//! run goes on.
//!
//! The program starts itself again as a worker, which makes the implementation and says what it
//! can do. Then it is given numbers of cases, which it makes, runs and judges by itself
//! ([`Runner`](crate::campaign::Runner)), or single cases, which it only runs
//! ([`Rig`](trackproof_contract::Rig)). A worker that ends, or does not come back in time, is a
//! [`Stop`](trackproof_contract::Stop); the next case gets a new one. Campaign, settling and
//! minimising know nothing of this: to them [`Workers`] makes rigs and runners like any other.

mod process;
mod protocol;
mod queued;
mod rig;
mod runner;
mod worker;

pub(crate) use protocol::Counts;
pub(crate) use runner::name;

pub use process::{Hello, StartError, Workers};
pub use worker::{Refusal, serve};
