//! Report texts: what a person reads of a finding, a trace or a run, and the JSON of a run.
//!
//! Every text is made of plain values: nothing here runs an implementation, reads a clock, writes
//! a file or knows a terminal. The same values give the same text on every machine.

mod baseline;
mod case_text;
mod comparison;
mod finding_text;
mod flux;
mod inferred;
mod margin;
mod moment;
mod overnight;
mod phrase;
mod reach;
mod recording;
mod run_json;
mod run_text;
mod showing;
mod style;
mod trace;

pub use baseline::{Baseline, KnownJson, Occurred, Regression, Regressions, RegressionsJson};
pub use finding_text::{Shown, finding};
pub use inferred::{
    ChoiceJson, ContradictionJson, InferredJson, InferredReport, RefusedJson, inferred,
    inferred_json, inferred_toml,
};
pub use margin::{AxisJson, MarginReport, MarginsJson, margins, margins_json};
pub use overnight::{
    FileJson, GroupJson, MoreJson, OvernightJson, OvernightReport, case_path, overnight,
    overnight_json,
};
pub use phrase::{count, grouped};
pub use recording::{
    BitsJson, CoverageJson, LineFindingJson, RecordingJson, RecordingReport, recording,
    recording_json,
};
pub use run_json::{ComparedJson, FindingJson, RunJson, SkippedJson, run_json};
pub use run_text::{RunReport, run};
pub use style::Style;
pub use trace::trace;

/// Reach of fewer cases than this is marked: a class that is met so seldom proves little.
pub const FEW_CASES: u64 = 20;
