//! `capture`: judges a recording of the drive lines, without driving anything.

use crate::Exit;
use crate::arguments::{Capture, Format};
use crate::failure::Failure;
use crate::interrupt;
use crate::output;
use std::fs::File;
use std::io::BufReader;
use trackproof::recording::Judge;
use trackproof::report::{self, RecordingReport, grouped};
use trackproof_capture::{CaptureError, Edges, Map, Told};

/// What is read of a recording at a time.
const BUFFER_BYTES: usize = 1 << 18;

/// Runs the verb.
pub(crate) fn capture(given: &Capture) -> Result<Exit, Failure> {
    let map = Map::load(&given.map)?;
    let file = given.file.display().to_string();
    let opened = File::open(&given.file).map_err(|error| {
        Failure::usage(format!("{file}: the recording cannot be read: {error}"))
    })?;
    interrupt::flag();
    let reader = BufReader::with_capacity(BUFFER_BYTES, opened);
    let mut edges = Edges::new(reader, &file, &map)?;
    let mut judge = Judge::new(map.setup());
    for edge in &mut edges {
        judge.take(edge?);
        if interrupt::is_set() {
            break;
        }
    }
    let told = edges.told();
    let judgement = judge.finish(told.end_ns);
    let mut exit = if !judgement.findings.is_empty() {
        Exit::Deviates
    } else if judgement.inconclusive.is_some() {
        Exit::Inconclusive
    } else if !judgement.judged_anything() {
        Exit::NothingJudged
    } else {
        Exit::Conforms
    };
    if let Some(interrupted) = interrupt::exit() {
        exit = exit.or(interrupted);
    }
    let remarks = remarks(&told);
    let report = RecordingReport {
        file: &file,
        end_ns: told.end_ns,
        judgement: &judgement,
        remarks: &remarks,
        verdict: exit.verdict(),
        exit: (exit.code(), exit.meaning()),
    };
    match given.format.is {
        Format::Json => output::print_json(&report::recording_json(&report))?,
        Format::Human => output::print(&report::recording(&report, output::style()))?,
    }
    Ok(exit)
}

/// What is odd about the file.
fn remarks(told: &Told) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(line) = told.cut_short {
        remarks.push(format!(
            "the recording breaks off inside of line {}; judged up to there",
            grouped(line)
        ));
    }
    if told.glitches > 0 {
        remarks.push(format!("{} pulses taken out as glitches", grouped(told.glitches)));
    }
    if told.undeclared > 0 {
        let times = grouped(told.undeclared);
        remarks.push(format!("{times} changes of signals that the header does not have"));
    }
    remarks
}

impl From<CaptureError> for Failure {
    fn from(error: CaptureError) -> Self {
        Self::usage(error)
    }
}
