//! The library: generate cases, run them on a rig, judge what comes back, minimise what differs.
//!
//! Data flows one way, every stop a plain value: seed → [`Case`](trackproof_contract::Case) →
//! [`Observation`](trackproof_contract::Observation) → [`Verdict`](verdict::Verdict) → smaller
//! case → file and report. Nothing here knows an adapter, a command line or a C compiler.
#![forbid(unsafe_code)]

pub mod campaign;
pub mod case_file;
pub mod cause;
pub mod conformance;
pub mod drill;
pub mod examine;
pub mod features;
pub mod generate;
pub mod infer;
pub mod isolate;
pub mod judge;
pub mod known_file;
pub mod layout_file;
pub mod lift;
pub mod margin;
pub mod minimise;
pub mod overnight;
pub mod plug;
pub mod profile_file;
pub mod recording;
pub mod relation;
pub mod report;
pub mod rules;
pub mod settle;
#[cfg(feature = "proptest")]
pub mod strategy;
pub mod triage;
pub mod vectors;
pub mod verdict;
