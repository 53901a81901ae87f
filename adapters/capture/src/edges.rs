//! The moments of the mapped lines, read from a recording one after the other.
//!
//! Changes of one signal in one nanosecond are one, the last. A line is unknown until its signal has
//! a value of 0 or 1: a recording may begin anywhere. One that breaks off behind its header is read
//! up to there; [`Told`] says so.

use crate::CaptureError;
use crate::allowance::Allowance;
use crate::glitch::{Change, GlitchFilter};
use crate::map::{FluxEdge, Map, MappedLine, Polarity};
use crate::signals::Signals;
use crate::ticks::{MAX_NS, Ticks};
use std::collections::{HashMap, HashSet, VecDeque};
use std::io::{self, BufRead};
use trackproof_contract::{DriveLine, LineEdge, LineEvent, LineState};
use vcd::{Command, IdCode, ParseError, Parser, TimescaleUnit, Value, Vector};

/// Longest command of a recording: a remark of a megabyte, or a vector of a million bits.
const MAX_COMMAND_BYTES: u64 = 1 << 20;
/// Where no data line is recorded: a shortest pulse, that of a step.
const FINEST_NS: u64 = 1_000;
/// A last space, so that a recording that ends without a line break is not cut short.
const LAST: &[u8] = b" ";

/// What a recording was like, beside its edges.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Told {
    /// The last time in the recording, in nanoseconds.
    pub end_ns: u64,
    /// Changes of mapped signals.
    pub changes: u64,
    /// Pulses that the glitch filter took out.
    pub glitches: u64,
    /// How often a mapped signal became `x` or `z`.
    pub unknown: u64,
    /// Changes of signals that the header does not have.
    pub undeclared: u64,
    /// The line of the text at which the recording breaks off in the middle of a command.
    pub cut_short: Option<u64>,
    /// Mapped lines that never had a value.
    pub silent: Vec<DriveLine>,
}

/// The edges of a recording: an iterator that ends with the recording or its first error.
pub struct Edges<'m, R> {
    parser: Parser<Allowance<io::Chain<R, &'static [u8]>>>,
    file: String,
    map: &'m Map,
    ticks: Ticks,
    places: HashMap<IdCode, Vec<(usize, usize)>>,
    declared: HashSet<IdCode>,
    /// The last time stamp as it is written, and in nanoseconds.
    now: (u64, u64),
    states: Vec<LineState>,
    /// Mapped signals with a change in this nanosecond, and what they have become.
    instant: Vec<(usize, LineState)>,
    filter: GlitchFilter<LineState>,
    ready: VecDeque<LineEdge>,
    seen: Vec<bool>,
    told: Told,
    ended: bool,
}

impl<'m, R: BufRead> Edges<'m, R> {
    /// Reads the header of a recording; `file` is for the error's text.
    ///
    /// # Errors
    /// A header that is none, has no time scale, or lacks a signal of the map.
    pub fn new(reader: R, file: &str, map: &'m Map) -> Result<Self, CaptureError> {
        let mut parser = Parser::new(Allowance::new(reader.chain(LAST)));
        let (signals, scale) = header(&mut parser, file, map)?;
        let text = |line, why| CaptureError::Text { file: file.to_owned(), line, why };
        let line = parser.line();
        let finest_ns = if map.lines.iter().any(|mapped| mapped.line.carries_flux()) {
            map.channel_bit_ns / 4
        } else {
            FINEST_NS
        };
        let Some((number, unit, at)) = scale else {
            let why = "the recording has no $timescale: what a tick is has to be said";
            return Err(text(line, why.into()));
        };
        let ticks = Ticks::of(number, unit, finest_ns.max(1)).map_err(|why| text(at, why))?;
        let (found, declared) = signals.found().map_err(|why| text(line, why))?;
        let mut places: HashMap<IdCode, Vec<(usize, usize)>> = HashMap::new();
        for (signal, place) in found.iter().enumerate() {
            places.entry(place.code).or_default().push((signal, place.bit));
        }
        Ok(Self {
            parser,
            file: file.to_owned(),
            map,
            ticks,
            places,
            declared,
            now: (0, 0),
            states: vec![LineState::Unknown; map.lines.len()],
            instant: Vec::new(),
            filter: GlitchFilter::new(map.glitch_ns),
            ready: VecDeque::new(),
            seen: vec![false; map.lines.len()],
            told: Told::default(),
            ended: false,
        })
    }

    /// What the recording was like, as far as it has been read.
    #[must_use]
    pub fn told(&self) -> Told {
        let silent = self.map.lines.iter().zip(&self.seen).filter(|(_, seen)| !**seen);
        Told {
            end_ns: self.now.1,
            glitches: self.filter.removed,
            silent: silent.map(|(mapped, _)| mapped.line).collect(),
            ..self.told.clone()
        }
    }

    fn text(&self, why: String) -> CaptureError {
        CaptureError::Text { file: self.file.clone(), line: self.parser.line(), why }
    }

    /// Reads a command; none at the end, and where the recording breaks off.
    fn command(&mut self) -> Result<Option<Command>, CaptureError> {
        self.parser.reader().renew(MAX_COMMAND_BYTES);
        match self.parser.next() {
            None => Ok(None),
            Some(Ok(command)) => Ok(Some(command)),
            Some(Err(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                self.told.cut_short = Some(self.parser.line());
                Ok(None)
            }
            Some(Err(error)) => Err(trouble(&mut self.parser, &self.file, &error)),
        }
    }

    /// Reads on until an edge is ready or the recording has ended.
    fn read_on(&mut self) -> Result<(), CaptureError> {
        let Some(command) = self.command()? else {
            self.end();
            return Ok(());
        };
        match command {
            Command::Timestamp(ticks) => self.passes_to(ticks),
            Command::ChangeScalar(code, value) => self.changes(code, |_| value),
            Command::ChangeVector(code, vector) => self.changes(code, |bit| bit_of(&vector, bit)),
            Command::ChangeReal(code, _) | Command::ChangeString(code, _) => {
                match self.places.get(&code).and_then(|wanted| wanted.first()) {
                    None => Ok(()),
                    Some((signal, _)) => Err(self.text(format!(
                        "the signal `{}` holds a number or a text: a line is a bit",
                        self.map.lines[*signal].signal
                    ))),
                }
            }
            Command::Comment(_) | Command::Begin(_) | Command::End(_) => Ok(()),
            _ => Err(self.text("a command of the header behind $enddefinitions".into())),
        }
    }

    fn passes_to(&mut self, ticks: u64) -> Result<(), CaptureError> {
        if ticks < self.now.0 {
            // A time that is cut off looks like an earlier one.
            let line = self.parser.line();
            if self.command()?.is_none() {
                self.told.cut_short = Some(line);
                self.end();
                return Ok(());
            }
            let why = format!(
                "time goes backwards, from {} to {ticks}: IEEE 1364 has times in order. Were two \
                 recordings joined?",
                self.now.0
            );
            return Err(CaptureError::Text { file: self.file.clone(), line, why });
        }
        let ns = self.ticks.ns(ticks).ok_or_else(|| {
            self.text(format!(
                "the time {ticks} is past {MAX_NS} ns, the limit; is the scale right?"
            ))
        })?;
        if ns > self.now.1 {
            self.instant_passes();
        }
        self.now = (ticks, ns);
        while let Some(change) = self.filter.settled(ns) {
            self.tell(change);
        }
        Ok(())
    }

    fn changes(
        &mut self,
        code: IdCode,
        value: impl Fn(usize) -> Value,
    ) -> Result<(), CaptureError> {
        let Some(signals) = self.places.get(&code) else {
            self.told.undeclared += u64::from(!self.declared.contains(&code));
            return Ok(());
        };
        for (signal, bit) in signals {
            let state = match (value(*bit), self.map.lines[*signal].active) {
                (Value::V0, Polarity::Low) | (Value::V1, Polarity::High) => LineState::Active,
                (Value::V0, Polarity::High) | (Value::V1, Polarity::Low) => LineState::Inactive,
                (Value::X | Value::Z, _) => LineState::Unknown,
            };
            self.seen[*signal] |= state != LineState::Unknown;
            match self.instant.iter_mut().find(|(other, _)| other == signal) {
                Some((_, last)) => *last = state,
                None => self.instant.push((*signal, state)),
            }
        }
        Ok(())
    }

    /// Nothing more happens at the time that was.
    fn instant_passes(&mut self) {
        for (signal, to) in std::mem::take(&mut self.instant) {
            let from = std::mem::replace(&mut self.states[signal], to);
            if from != to {
                self.told.changes += 1;
                self.told.unknown += u64::from(to == LineState::Unknown);
                self.filter.take(Change { ns: self.now.1, signal, from, to });
            }
        }
        while let Some(change) = self.filter.settled(self.now.1) {
            self.tell(change);
        }
    }

    fn end(&mut self) {
        self.instant_passes();
        while let Some(change) = self.filter.left() {
            self.tell(change);
        }
        self.ended = true;
    }

    fn tell(&mut self, change: Change<LineState>) {
        let mapped = &self.map.lines[change.signal];
        let event = if mapped.line.carries_flux() {
            flux_event(mapped, change.from, change.to)
        } else {
            Some(LineEvent::Becomes(change.to))
        };
        self.ready.extend(event.map(|event| LineEdge { ns: change.ns, line: mapped.line, event }));
    }
}

impl<R: BufRead> Iterator for Edges<'_, R> {
    type Item = Result<LineEdge, CaptureError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(edge) = self.ready.pop_front() {
                return Some(Ok(edge));
            }
            if self.ended {
                return None;
            }
            if let Err(error) = self.read_on() {
                self.ended = true;
                return Some(Err(error));
            }
        }
    }
}

/// What a change means on a line that carries flux.
fn flux_event(mapped: &MappedLine, from: LineState, to: LineState) -> Option<LineEvent> {
    match (from, to) {
        (_, LineState::Unknown) => Some(LineEvent::Becomes(LineState::Unknown)),
        (LineState::Unknown, _) => Some(LineEvent::Becomes(LineState::Inactive)),
        (_, LineState::Active) => Some(LineEvent::Transition),
        (_, LineState::Inactive) => match mapped.transition {
            FluxEdge::EachEdge => Some(LineEvent::Transition),
            FluxEdge::LeadingEdge => None,
        },
    }
}

/// A bit of a vector, from the right. What is left out on the left is 0, or x or z if the first one
/// is (IEEE 1364-2005, 18.2.2; clause from memory).
fn bit_of(vector: &Vector, bit: usize) -> Value {
    match vector.len().checked_sub(bit + 1).and_then(|place| vector.get(place)) {
        Some(value) => value,
        None => match vector.get(0) {
            Some(Value::X) => Value::X,
            Some(Value::Z) => Value::Z,
            _ => Value::V0,
        },
    }
}

type Scale = (u32, TimescaleUnit, u64);

/// Reads up to `$enddefinitions`.
fn header<'a, R: BufRead>(
    parser: &mut Parser<Allowance<R>>,
    file: &str,
    map: &'a Map,
) -> Result<(Signals<'a>, Option<Scale>), CaptureError> {
    let mut signals = Signals::of(&map.lines);
    let mut scale = None;
    loop {
        parser.reader().renew(MAX_COMMAND_BYTES);
        let command = match parser.next() {
            Some(Ok(command)) => command,
            Some(Err(error)) if error.kind() != io::ErrorKind::UnexpectedEof => {
                return Err(trouble(parser, file, &error));
            }
            _ => {
                let why = "the recording ends inside its header: there is no $enddefinitions. Is \
                           it a value change dump (VCD), and whole?";
                let line = parser.line();
                return Err(CaptureError::Text { file: file.to_owned(), line, why: why.into() });
            }
        };
        let line = parser.line();
        let taken = match command {
            Command::Enddefinitions => return Ok((signals, scale)),
            Command::Timescale(number, unit) => {
                scale = Some((number, unit, line));
                Ok(())
            }
            Command::ScopeDef(_, name) => signals.enter(name),
            Command::Upscope => signals.leave(),
            Command::VarDef(_, width, code, name, index) => {
                signals.variable(&name, index, width, code)
            }
            Command::Comment(_) | Command::Date(_) | Command::Version(_) => Ok(()),
            _ => Err("a value change inside the header: $enddefinitions is missing".into()),
        };
        taken.map_err(|why| CaptureError::Text { file: file.to_owned(), line, why })?;
    }
}

/// The error of a command that cannot be read.
fn trouble<R: BufRead>(
    parser: &mut Parser<Allowance<R>>,
    file: &str,
    error: &io::Error,
) -> CaptureError {
    let line = parser.line();
    let file = file.to_owned();
    if parser.reader().is_spent() {
        let why = format!("a command longer than {MAX_COMMAND_BYTES} bytes, the limit");
        return CaptureError::Text { file, line, why };
    }
    match error.get_ref().and_then(|inner| inner.downcast_ref::<ParseError>()) {
        Some(parse) => CaptureError::Text {
            file,
            line: parse.line(),
            why: format!(
                "{}; what is read is a four-state value change dump of IEEE 1364-2005",
                parse.kind()
            ),
        },
        None => CaptureError::Unreadable { file, why: format!("cannot be read: {error}") },
    }
}

#[cfg(test)]
mod tests;
