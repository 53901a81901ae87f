//! A trace: every operation and service of one execution with its time, its place on the track,
//! the reader's state, what was allowed and what came.

mod state;

use super::case_text::bit_rows;
use super::moment::Moment;
use super::phrase::{count, hex, micros, operation, request};
use super::showing;
use super::style::Style;
use crate::judge::Judge;
use crate::verdict::{Deviation, Verdict};
use state::States;
use std::collections::VecDeque;
use trackproof_contract::{Action, Capabilities, Case, Event, Flux, Item, Observation};
use trackproof_model::code::run_length::transitions;
use trackproof_model::reader::acceptor::{Acceptance, Acceptor, Tally};
use trackproof_model::reader::predict::Predicted;
use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::separator::judged::Judged;

/// Words worked out behind the first difference: more than any read of a minimised case has.
const PREDICTED: usize = 4_096;

/// One line of the table.
#[derive(Debug, Clone, Default)]
struct Line {
    at_ns: u64,
    place: String,
    state: String,
    what: String,
    allowed: String,
    got: String,
    first_difference: bool,
    /// Services without a word, drawn together.
    idle: u64,
}

/// The trace of an execution.
#[must_use]
pub fn trace(
    case: &Case,
    observation: &Observation,
    capabilities: Capabilities,
    style: Style,
) -> String {
    let mut judge = Judge::new();
    if let Some(flux) = &case.flux {
        return flux_trace(case, flux, observation);
    }
    let deviation = match judge.judge(case, observation, capabilities) {
        Verdict::Deviates(deviation) => Some(deviation),
        _ => None,
    };
    let telling = Telling {
        case,
        observation,
        events: judge.events(),
        deviation: deviation.as_deref(),
        judge: &judge,
        predicted: predicted(case, judge.events(), observation, capabilities, deviation.as_deref()),
        states: States::new(case, judge.events(), observation, capabilities),
    };
    let blank = telling.states.first_told(telling.last_judged()) > 0;
    let mut lines = telling.lines();
    draw_together(&mut lines);
    table(&lines, deviation.is_some(), blank, style)
}

/// Of flux: every transition with its time, what was written before it, and what came of it all.
fn flux_trace(case: &Case, flux: &Flux, observation: &Observation) -> String {
    let mut judged = Judged::default();
    judged.lay_out(&case.profile, flux);
    let mut text = format!("{:>14}  {:>10}  {:>8}  judged\n", "µs", "cell", "written");
    let (mut last, mut stretches) = (0, judged.stretches().iter().peekable());
    let ones = transitions(&flux.bits);
    for (bit, at_ns) in ones.zip(judged.times_ns()) {
        while stretches.next_if(|stretch| stretch.end <= bit).is_some() {}
        let inside = stretches.peek().is_some_and(|stretch| stretch.first <= bit);
        text.push_str(&format!(
            "{:>14}  {bit:>10}  {:>8}{}\n",
            micros(*at_ns),
            bit - last,
            if inside { "  yes" } else { "" }
        ));
        last = bit;
    }
    text.push_str("what came:\n");
    for row in bit_rows(&observation.separated, "channel bit") {
        text.push_str(&format!("{row}\n"));
    }
    text
}

/// The words that the deviating read should have given from the difference on.
fn predicted(
    case: &Case,
    events: &[Event],
    observation: &Observation,
    capabilities: Capabilities,
    deviation: Option<&Deviation>,
) -> VecDeque<Predicted> {
    let Some((deviation, transfer)) = deviation.and_then(|d| Some((d, d.transfer?))) else {
        return VecDeque::new();
    };
    let mut acceptor = Acceptor::new();
    let mut tally = Tally::default();
    // Lays the tape that the prediction reads from.
    match acceptor.accept(case, events, observation, capabilities, &mut tally) {
        Acceptance::Rejected(_) => {
            acceptor.predict(case, events, &deviation.rejection, transfer, PREDICTED).into()
        }
        _ => VecDeque::new(),
    }
}

struct Telling<'a> {
    case: &'a Case,
    observation: &'a Observation,
    events: &'a [Event],
    deviation: Option<&'a Deviation>,
    judge: &'a Judge,
    predicted: VecDeque<Predicted>,
    states: States<'a>,
}

impl Telling<'_> {
    /// The event of the first difference, or the last one.
    fn last_judged(&self) -> usize {
        self.deviation.map_or(self.events.len(), |deviation| deviation.rejection.event)
    }

    fn lines(mut self) -> Vec<Line> {
        let items = &self.observation.items;
        let mut lines = Vec::new();
        let (mut answer, mut signal) = (0, 0);
        for (index, event) in self.events.iter().enumerate() {
            while let Some(seen) = items.get(signal).filter(|seen| seen.at_ns < event.at_ns) {
                lines.extend(self.signal_line(signal, seen.item));
                signal += 1;
            }
            lines.extend(self.missing_signal(index));
            while items.get(answer).is_some_and(|seen| is_signal(seen.item)) {
                answer += 1;
            }
            let got = items
                .get(answer)
                .filter(|seen| seen.at_ns == event.at_ns && answers(event.action, seen.item))
                .map(|seen| seen.item);
            answer += usize::from(got.is_some());
            lines.push(self.event_line(index, event, got));
        }
        for (place, seen) in items.iter().enumerate().skip(signal) {
            lines.extend(self.signal_line(place, seen.item));
        }
        lines
    }

    fn event_line(&mut self, index: usize, event: &Event, got: Option<Item>) -> Line {
        let profile = &self.case.profile;
        let what = match event.action {
            Action::Service { transfer } => {
                format!("  service of {}", request(self.case, transfer))
            }
            Action::End => "end".into(),
            _ => self
                .case
                .program
                .get(event.operation as usize)
                .map_or_else(String::new, |step| operation(step, profile)),
        };
        let got = got.map_or_else(String::new, |item| item_text(item, self.case));
        let mut line = Line {
            at_ns: event.at_ns,
            place: Moment::before(self.case, self.events, index).short(),
            state: self.states.before(index, self.last_judged()),
            what,
            allowed: got.clone(),
            got,
            ..Line::default()
        };
        self.judge_line(&mut line, index, event);
        let service = matches!(event.action, Action::Service { .. });
        line.idle = u64::from(service && line.allowed.is_empty() && line.got.is_empty());
        line
    }

    /// Puts what was allowed beside what came, from the first difference on.
    fn judge_line(&mut self, line: &mut Line, index: usize, event: &Event) {
        let Some(deviation) = self.deviation else { return };
        let rejection = &deviation.rejection;
        if index < rejection.event {
            return;
        }
        let word = match event.action {
            Action::Service { transfer } if Some(transfer) == deviation.transfer => {
                let due = self.predicted.front().is_some_and(|word| word.at_ns == event.at_ns);
                due.then(|| self.predicted.pop_front()).flatten()
            }
            _ => None,
        };
        line.allowed =
            word.map_or_else(String::new, |word| hex(word.value, self.case.profile.word_bits));
        if index == rejection.event && !concerns_signal(rejection.mismatch) {
            let tape = self.judge.acceptor().tape();
            let sides = showing::sides(self.case, deviation, self.observation, tape);
            (line.allowed, line.got) = (sides.allowed, sides.got);
            line.first_difference = true;
        }
    }

    fn signal_line(&self, place: usize, item: Item) -> Option<Line> {
        if !is_signal(item) {
            return None;
        }
        let at_ns = self.observation.items[place].at_ns;
        let text = item_text(item, self.case);
        let mut line = Line {
            at_ns,
            place: Moment::at(self.case, self.events, at_ns).short(),
            what: "  signal".into(),
            allowed: text.clone(),
            got: text,
            ..Line::default()
        };
        if let Some(deviation) = self.deviation {
            let rejection = &deviation.rejection;
            if at_ns > rejection.at_ns {
                line.allowed.clear();
            }
            if place == rejection.item && extra_signal(rejection.mismatch) {
                let tape = self.judge.acceptor().tape();
                line.allowed = showing::sides(self.case, deviation, self.observation, tape).allowed;
                line.first_difference = true;
            }
        }
        Some(line)
    }

    /// The line of a signal that should have come before an event.
    fn missing_signal(&self, event: usize) -> Option<Line> {
        let deviation = self.deviation?;
        let rejection = &deviation.rejection;
        let missing = concerns_signal(rejection.mismatch) && !extra_signal(rejection.mismatch);
        if !missing || event != rejection.event {
            return None;
        }
        let tape = self.judge.acceptor().tape();
        let sides = showing::sides(self.case, deviation, self.observation, tape);
        Some(Line {
            at_ns: rejection.at_ns,
            place: Moment::at(self.case, self.events, rejection.at_ns).short(),
            what: "  signal".into(),
            allowed: sides.allowed,
            got: sides.got,
            first_difference: true,
            ..Line::default()
        })
    }
}

const fn is_signal(item: Item) -> bool {
    matches!(item, Item::Done | Item::Refused { .. } | Item::Match)
}

const fn concerns_signal(mismatch: Mismatch) -> bool {
    extra_signal(mismatch)
        || matches!(
            mismatch,
            Mismatch::DoneMissing | Mismatch::RefusedMissing | Mismatch::MatchSignalMissing
        )
}

const fn extra_signal(mismatch: Mismatch) -> bool {
    matches!(mismatch, Mismatch::DoneExtra | Mismatch::RefusedExtra | Mismatch::MatchSignalExtra)
}

fn answers(action: Action, item: Item) -> bool {
    match (action, item) {
        (Action::PollStatus, Item::Status(_)) | (Action::PollByte, Item::Byte { .. }) => true,
        (Action::Service { transfer }, Item::Word { transfer: of, .. }) => transfer == of,
        _ => false,
    }
}

fn item_text(item: Item, case: &Case) -> String {
    match item {
        Item::Word { value, .. } => hex(value, case.profile.word_bits),
        Item::Byte { value, fresh } => {
            format!("{value:02x}, {}", if fresh { "new" } else { "seen before" })
        }
        Item::Status(status) => status.to_string(),
        Item::Done => "the completion signal".into(),
        Item::Refused { transfer } => format!("{} reported refused", request(case, transfer)),
        Item::Match => "the match signal".into(),
        other => other.to_string(),
    }
}

/// Makes one line of services in a row that moved nothing and had nothing to move.
fn draw_together(lines: &mut Vec<Line>) {
    let mut kept: Vec<Line> = Vec::with_capacity(lines.len());
    for line in lines.drain(..) {
        match kept.last_mut() {
            Some(last) if last.idle > 0 && line.idle > 0 && last.what == line.what => {
                last.idle += 1;
            }
            _ => kept.push(line),
        }
    }
    for line in kept.iter_mut().filter(|line| line.idle > 1) {
        let rest = count(line.idle - 1, "more");
        line.what.push_str(&format!(", and {}", rest.trim_end_matches('s')));
    }
    *lines = kept;
}

fn table(lines: &[Line], deviates: bool, blank: bool, style: Style) -> String {
    let head = Line {
        place: "drive:bit".into(),
        state: "phase, sync, transfer".into(),
        what: "operation".into(),
        allowed: "allowed".into(),
        got: "got".into(),
        ..Line::default()
    };
    let width = |cell: fn(&Line) -> &String| {
        let cells = lines.iter().chain([&head]).map(|line| cell(line).chars().count());
        cells.max().unwrap_or(0)
    };
    let widths = [
        lines.iter().map(|line| micros(line.at_ns).chars().count()).max().unwrap_or(0).max(4),
        width(|line| &line.place),
        width(|line| &line.state),
        width(|line| &line.what),
        width(|line| &line.allowed),
    ];
    let mut text = String::new();
    let mut push = |mark: &str, time: &str, line: &Line, style: Style| {
        let (allowed, got) = (format!("{:<1$}", line.allowed, widths[4]), line.got.clone());
        let differs = line.allowed != line.got;
        let (allowed, got) =
            if differs { (style.right(&allowed), style.wrong(&got)) } else { (allowed, got) };
        let row = format!(
            "{mark} {time:>t$}  {place:>p$}  {state:<s$}  {what:<w$}  {allowed}  {got}",
            place = line.place,
            state = line.state,
            what = line.what,
            t = widths[0],
            p = widths[1],
            s = widths[2],
            w = widths[3],
        );
        text.push_str(row.trim_end());
        text.push('\n');
    };
    push(" ", "µs", &head, Style::Plain);
    for line in lines {
        let mark = if line.first_difference { style.strong("→") } else { " ".into() };
        push(&mark, &micros(line.at_ns), line, style);
    }
    text.push_str(
        "phase: channel bits past a word boundary. transfer: its number, what it does, words taken \
         or fetched.\n",
    );
    if deviates {
        text.push_str(
            "→ the first difference. Behind it the words on the allowed side are those of the \
             closest state; nothing else is judged there.\n",
        );
    }
    if blank {
        text.push_str("States are worked out for the last part before the difference only.\n");
    }
    text
}
