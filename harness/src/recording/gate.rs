//! The write gate: when it opens, what moves under it, and what is written while it is open.

use super::JUDGED_SHARE_PERCENT;
use super::facts::Fact;
use super::finding::{Findings, InWrite, LineFinding};
use super::lines::{Change, Lines, Selected};
use super::written::{self, Piece};
use crate::report::{count, grouped};
use trackproof_contract::{DriveLine, LineState, RecordingSetup};

/// Transitions that are judged at a time: some ten turns of a track at 250 kbit/s.
const MAX_TRANSITIONS: usize = 1 << 19;
/// Shortest word of any controller in channel bits: a byte of data, or of channel bits.
const SHORTEST_WORD_BITS: u64 = 8;

/// A write under way.
struct Write {
    /// When the gate opened; none where the recording begins under an open gate.
    opened_ns: Option<u64>,
    /// From when on its time counts.
    since_ns: u64,
    times_ns: Vec<u64>,
    transitions: u64,
    /// Channel bits judged already.
    bits_before: u64,
    /// Whether the next piece begins at a clock bit, if the one before told.
    at_clock: Option<bool>,
    /// Since when write data is unknown.
    unknown_since_ns: Option<u64>,
    unknown_ns: u64,
}

/// Watches the gate.
#[derive(Default)]
pub(super) struct GateWatch {
    open: Option<Write>,
    data_unknown: Option<bool>,
    closed_ns: Option<u64>,
    openings: u64,
    selected_known: u64,
    hold_known: u64,
    writes: u64,
    writes_with_data: u64,
    channel_bits: u64,
    marks: u64,
    plain_marks: u64,
    first_plain_mark_ns: Option<u64>,
    phase_changes: u64,
    outside: u64,
    open_ns: u64,
    judged_ns: u64,
    cut_ns: Option<u64>,
}

impl GateWatch {
    pub(super) const fn is_open(&self) -> bool {
        self.open.is_some()
    }

    pub(super) fn take(
        &mut self,
        changes: &[Change],
        lines: &Lines,
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        for change in changes {
            match change.line {
                DriveLine::WriteGate => match change.to {
                    LineState::Active => self.opens(change, lines, setup, findings),
                    LineState::Inactive | LineState::Unknown => {
                        self.closes(change.ns, change.trails(), setup, findings);
                    }
                },
                DriveLine::WriteData => {
                    self.data_known(change.ns, change.to != LineState::Unknown, setup, findings);
                }
                _ => {}
            }
        }
        for change in changes.iter().filter(|change| change.line.steers() && change.is_an_edge()) {
            self.moves(change, setup, findings);
        }
    }

    fn opens(
        &mut self,
        change: &Change,
        lines: &Lines,
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        let ns = change.ns;
        self.writes += 1;
        let unknown_since_ns = (self.data_unknown != Some(false)).then_some(ns);
        self.open = Some(Write {
            opened_ns: change.leads().then_some(ns),
            since_ns: ns,
            times_ns: Vec::new(),
            transitions: 0,
            bits_before: 0,
            at_clock: None,
            unknown_since_ns,
            unknown_ns: 0,
        });
        if !change.leads() {
            return;
        }
        self.openings += 1;
        let here = (ns, DriveLine::WriteGate);
        let selected = lines.selected();
        self.selected_known += u64::from(selected != Selected::Unknown);
        if selected == Selected::Nobody {
            let expected = "a recorded select active".into();
            let got = "the gate opens for no drive".into();
            findings.add(LineFinding::of("gate.quiet", "no-drive-selected", here, expected, got));
        }
        let drive = match selected {
            Selected::Drive(drive) => Some(DriveLine::Select(drive)),
            _ => None,
        };
        let waits = [
            (drive, setup.limits.select_to_gate_ns, "select-under-way"),
            (Some(DriveLine::Side), setup.limits.side_to_gate_ns, "side-under-way"),
        ];
        let mut known = false;
        for (line, limit_ns, kind) in waits {
            let Some(line) = line else { continue };
            known |= lines.state(line) != LineState::Unknown;
            let Some(got_ns) = lines.moved_ns(line).map(|moved| ns - moved) else { continue };
            if got_ns < limit_ns {
                findings.add(LineFinding::of(
                    "transfer.hold",
                    kind,
                    here,
                    format!("at least {} ns from {line} to the gate", grouped(limit_ns)),
                    format!("{} ns", grouped(got_ns)),
                ));
            }
        }
        self.hold_known += u64::from(known);
    }

    fn closes(&mut self, ns: u64, seen: bool, setup: &RecordingSetup, findings: &mut Findings) {
        let Some(mut write) = self.open.take() else { return };
        self.piece(&mut write, setup, findings);
        if let Some(since_ns) = write.unknown_since_ns {
            write.unknown_ns += ns - since_ns;
        }
        self.open_ns += ns - write.since_ns;
        self.judged_ns += ns - write.since_ns - write.unknown_ns;
        self.closed_ns = seen.then_some(ns);
        let Some(opened_ns) = write.opened_ns.filter(|_| seen && write.unknown_ns == 0) else {
            return;
        };
        let shortest_ns = SHORTEST_WORD_BITS * setup.channel_bit_ns;
        if write.transitions == 0 && ns - opened_ns < shortest_ns && has_data(setup) {
            findings.add(LineFinding::of(
                "gate.quiet",
                "no-word-fits",
                (opened_ns, DriveLine::WriteGate),
                format!("a gate that is open for a word, {} ns or more", grouped(shortest_ns)),
                format!("open for {} ns, and nothing written", grouped(ns - opened_ns)),
            ));
        }
    }

    fn data_known(
        &mut self,
        ns: u64,
        known: bool,
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        self.data_unknown = Some(!known);
        let Some(mut write) = self.open.take() else { return };
        if known {
            if let Some(since_ns) = write.unknown_since_ns.take() {
                write.unknown_ns += ns - since_ns;
            }
        } else {
            // What comes behind the gap has a phase of its own.
            self.piece(&mut write, setup, findings);
            write.at_clock = None;
            write.unknown_since_ns = write.unknown_since_ns.or(Some(ns));
        }
        self.open = Some(write);
    }

    fn moves(&self, change: &Change, setup: &RecordingSetup, findings: &mut Findings) {
        let hold_ns = setup.limits.erase_hold_ns;
        let behind_ns = self.closed_ns.map(|closed| change.ns - closed);
        let (kind, expected, got) = if let Some(write) = &self.open {
            // What moves with the gate's own edge is another rule's matter.
            let Some(inside_ns) = change.ns.checked_sub(write.since_ns).filter(|ns| *ns > 0) else {
                return;
            };
            let got = format!("a change {} ns behind its opening", grouped(inside_ns));
            ("under-open-gate", "steady while the write gate is open".to_owned(), got)
        } else if let Some(behind_ns) = behind_ns.filter(|ns| *ns < hold_ns) {
            let expected = format!("steady for {} ns behind the gate", grouped(hold_ns));
            let got = format!("a change {} ns behind it", grouped(behind_ns));
            ("within-erase-hold", expected, got)
        } else {
            return;
        };
        let here = (change.ns, change.line);
        findings.add(LineFinding::of("write.steady", kind, here, expected, got));
    }

    /// A transition of write data.
    pub(super) fn transition(&mut self, ns: u64, setup: &RecordingSetup, findings: &mut Findings) {
        let Some(mut write) = self.open.take() else {
            self.outside += 1;
            return;
        };
        write.transitions += 1;
        write.times_ns.push(ns);
        if write.times_ns.len() == MAX_TRANSITIONS {
            self.piece(&mut write, setup, findings);
            // The next piece begins with the last transition of this one, which is counted there.
            write.times_ns.push(ns);
            write.bits_before -= 1;
            self.channel_bits -= 1;
        }
        self.open = Some(write);
    }

    /// Judges what has been written so far, and lets go of it.
    fn piece(&mut self, write: &mut Write, setup: &RecordingSetup, findings: &mut Findings) {
        let times_ns = std::mem::take(&mut write.times_ns);
        if times_ns.len() < 2 {
            return;
        }
        self.writes_with_data += u64::from(write.bits_before == 0);
        let Piece { channel_bits, faults, marks, plain_marks, phase_changes, ends_at_clock } =
            written::judge(&times_ns, write.at_clock, setup);
        write.at_clock = ends_at_clock;
        for fault in faults {
            let in_write =
                InWrite { write: self.writes, channel_bit: write.bits_before + fault.at_bit };
            findings.add(LineFinding {
                in_write: Some(in_write),
                bits: Some(fault.bits),
                ..LineFinding::of(
                    fault.rule,
                    fault.kind,
                    (fault.ns, DriveLine::WriteData),
                    fault.expected,
                    fault.got,
                )
            });
        }
        self.marks += marks;
        self.plain_marks += plain_marks.len() as u64;
        self.first_plain_mark_ns = self.first_plain_mark_ns.or(plain_marks.first().copied());
        self.phase_changes += phase_changes;
        self.channel_bits += channel_bits;
        write.bits_before += channel_bits;
    }

    /// The recording has ended.
    pub(super) fn ends(&mut self, ns: u64, setup: &RecordingSetup, findings: &mut Findings) {
        if self.open.is_some() {
            self.cut_ns = Some(ns);
            self.closes(ns, false, setup, findings);
        }
    }

    /// How often there was something to look at.
    pub(super) fn looked_at(&self, rule: &str) -> u64 {
        match rule {
            "gate.quiet" => self.selected_known.max(self.writes_with_data),
            "transfer.hold" => self.hold_known,
            "write.steady" => self.writes,
            _ => self.writes_with_data,
        }
    }

    /// Why the writes say too little.
    pub(super) fn too_little(&self) -> Option<String> {
        let enough = u128::from(self.judged_ns) * 100
            >= u128::from(self.open_ns) * u128::from(JUDGED_SHARE_PERCENT);
        (!enough).then(|| {
            format!(
                "write data is known for {} of {} ns under an open gate, less than \
                 {JUDGED_SHARE_PERCENT} %",
                grouped(self.judged_ns),
                grouped(self.open_ns)
            )
        })
    }

    pub(super) fn facts(&self, setup: &RecordingSetup) -> Vec<Fact> {
        let mut facts = Vec::new();
        if self.writes > 0 {
            let mut text = format!("open {}", count(self.writes, "time"));
            if has_data(setup) {
                text += &format!(
                    ", {} written, {} among them",
                    count(self.channel_bits, "channel bit"),
                    count(self.marks, "mark")
                );
            }
            if let Some(ns) = self.cut_ns {
                text += &format!("; still open at the end, {} ns", grouped(ns));
            }
            facts.push(Fact::of("writes", DriveLine::WriteGate, text));
        }
        if let Some(ns) = self.first_plain_mark_ns {
            let text = format!(
                "{} of A1 or C2 behind a sync field, three bytes with all their clock bits, the \
                 first at {} ns: if they were to be marks, nobody will find them",
                count(self.plain_marks, "run"),
                grouped(ns)
            );
            facts.push(Fact::of("plain-marks", DriveLine::WriteData, text));
        }
        if self.phase_changes > 0 {
            let text = format!(
                "the bit cells begin anew half a cell off inside a write, {}",
                count(self.phase_changes, "time")
            );
            facts.push(Fact::of("phase", DriveLine::WriteData, text));
        }
        if self.outside > 0 {
            let text = format!("{} outside the gate", count(self.outside, "transition"));
            facts.push(Fact::of("outside", DriveLine::WriteData, text));
        }
        facts
    }
}

fn has_data(setup: &RecordingSetup) -> bool {
    setup.lines.contains(&DriveLine::WriteData)
}
