//! The passive judge: what recorded drive lines show by themselves, without a case and a stimulus.
//!
//! [`Judge`] takes the edges of a recording one after the other and holds them against the rules
//! that need no more than the lines: the spacing and the clock bits of what is written, gate and
//! select, step pulses. What the drive or the medium does (index, read data) is stated and accuses
//! nobody. Where edges come from is no matter here; adapters read files.
//!
//! A recording without the host's words leaves open who made a wrong bit: a controller that writes
//! channel words as they are given writes the host's faults too. Reports say so.
//!
//! Memory is bounded whatever the recording's length: a write is judged a million channel bits at a
//! time, and of each kind of finding the first is kept and the others counted.

mod coverage;
mod facts;
mod finding;
mod gate;
mod lines;
mod select;
mod step;
mod written;

pub use coverage::{Coverage, SkippedRule};
pub use facts::{Fact, Spread};
pub use finding::{BitsAround, InWrite, LineFinding};

use facts::{IndexFacts, ReadFacts};
use finding::Findings;
use gate::GateWatch;
use lines::{Change, Lines};
use select::SelectWatch;
use step::StepWatch;
use trackproof_contract::{DriveLine, LineEdge, LineEvent, RecordingSetup};

/// Least share of the time under an open gate that has to be judged; below it is inconclusive.
const JUDGED_SHARE_PERCENT: u64 = 90;

/// What a recording comes to.
#[derive(Debug, Clone)]
pub struct Judgement {
    /// What breaks a rule, in the order of time.
    pub findings: Vec<LineFinding>,
    /// What was seen of drive and medium, and of how much there was to judge.
    pub facts: Vec<Fact>,
    /// Which rules were looked at, how often, and which could not be.
    pub coverage: Vec<Coverage>,
    /// Why too little could be judged, if so.
    pub inconclusive: Option<String>,
}

impl Judgement {
    /// Whether anything was held against any rule.
    #[must_use]
    pub fn judged_anything(&self) -> bool {
        self.coverage.iter().any(|rule| rule.looked_at > 0)
    }
}

/// Judges a recording as it goes by.
pub struct Judge {
    setup: RecordingSetup,
    lines: Lines,
    instant: Vec<LineEdge>,
    now_ns: u64,
    findings: Findings,
    gate: GateWatch,
    selects: SelectWatch,
    steps: StepWatch,
    index: IndexFacts,
    read: ReadFacts,
}

impl Judge {
    /// A judge who has seen nothing yet: every line is unknown.
    #[must_use]
    pub fn new(setup: RecordingSetup) -> Self {
        Self {
            lines: Lines::of(&setup.lines),
            instant: Vec::new(),
            now_ns: 0,
            findings: Findings::default(),
            gate: GateWatch::default(),
            selects: SelectWatch::default(),
            steps: StepWatch::default(),
            index: IndexFacts::default(),
            read: ReadFacts::default(),
            setup,
        }
    }

    /// Takes the next edge.
    ///
    /// # Panics
    /// When it is earlier than the one before it.
    pub fn take(&mut self, edge: LineEdge) {
        assert!(edge.ns >= self.now_ns, "edges come in the order of time");
        if edge.ns > self.now_ns {
            self.instant_passes();
            self.now_ns = edge.ns;
        }
        self.instant.push(edge);
    }

    /// The recording has ended at this time; gives what it comes to.
    #[must_use]
    pub fn finish(mut self, end_ns: u64) -> Judgement {
        self.instant_passes();
        let end_ns = end_ns.max(self.now_ns);
        self.selects.ends(end_ns, &mut self.findings);
        self.gate.ends(end_ns, &self.setup, &mut self.findings);
        self.lines.ends(end_ns);
        let mut facts = self.gate.facts(&self.setup);
        facts.extend(self.steps.facts());
        facts.extend(self.index.facts(&self.setup));
        facts.extend(self.read.facts(&self.setup));
        facts.extend(self.lines.facts());
        let looked_at = |rule: &str| match rule {
            "select.exclusive" | "select.break-first" => self.selects.looked_at(),
            "drive.step" => self.steps.looked_at(),
            "drive.index" => self.index.looked_at(&self.setup),
            rule => self.gate.looked_at(rule),
        };
        Judgement {
            coverage: coverage::of(&self.setup, looked_at),
            inconclusive: self.gate.too_little(),
            findings: self.findings.in_order(),
            facts,
        }
    }

    /// All edges of a nanosecond act together: states first, then transitions. What is written at
    /// the moment of the gate's opening is new, at that of its closing old.
    fn instant_passes(&mut self) {
        let mut instant = std::mem::take(&mut self.instant);
        let mut changes: Vec<Change> = Vec::new();
        for edge in &instant {
            if let LineEvent::Becomes(state) = edge.event {
                changes.extend(self.lines.becomes(edge.ns, edge.line, state));
            }
        }
        if !changes.is_empty() {
            let (lines, setup) = (&self.lines, &self.setup);
            self.selects.take(&changes, lines, setup, &mut self.findings);
            self.steps.take(&changes, lines, setup, &mut self.findings);
            self.gate.take(&changes, lines, setup, &mut self.findings);
            self.index.take(&changes, setup, &mut self.findings);
            self.read.take(&changes);
        }
        for edge in instant.drain(..).filter(|edge| edge.event == LineEvent::Transition) {
            match edge.line {
                DriveLine::WriteData => {
                    self.gate.transition(edge.ns, &self.setup, &mut self.findings);
                }
                DriveLine::ReadData if !self.gate.is_open() => {
                    self.read.transition(edge.ns, &self.setup);
                }
                _ => {}
            }
        }
        self.instant = instant;
    }
}
