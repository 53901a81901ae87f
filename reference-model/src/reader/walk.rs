//! One walk through a case: its events and its observation together, and the states that allow
//! both.

use super::merge::Merger;
use super::rejection::{Mismatch, Rejection};
use super::state::{Context, Entry, Outlook, Signal, State};
use crate::drive::{Drives, Source};
use crate::reach::Point;
use trackproof_contract::{
    Action, Capabilities, Capability, Case, Event, Item, NoDriveRead, Observation, Status, YesNo,
    words_to_send,
};

/// More states than this are given up as inconclusive.
const MAX_STATES: usize = 4_096;

/// From so many states on those that what was seen makes doubtful are given up first.
const MANY_STATES: usize = 32;

/// More states than this are given up where all ways are kept: beyond it another walk would tell
/// little and last long.
const MAX_ALL_WAYS: usize = 256;

/// More states than this are given up where media are looked at alone: nothing narrows them then,
/// and what they lend is a name.
const MAX_MEDIA_ALONE: usize = 128;

/// More states at more stops than this are given up: no case is to hold up a run for longer than
/// a second or two.
const MOST_WORK: u64 = 1 << 21;

/// Why a walk ends early.
pub(super) enum Stop {
    Rejected(Box<Rejection>),
    TooMany,
    Open(&'static str),
    /// All that was asked for is known.
    Asked,
}

/// A case under way.
pub(super) struct Walk<'a> {
    pub(super) ctx: Context<'a>,
    pub(super) states: &'a mut Vec<State>,
    pub(super) next: &'a mut Vec<State>,
    pub(super) merger: &'a mut Merger,
    pub(super) items: &'a Observation,
    /// The next item that is not a signal.
    pub(super) item: usize,
    /// The next item that may be a signal.
    pub(super) signals_at: usize,
    pub(super) compared: Status,
    pub(super) capabilities: Capabilities,
    pub(super) polls: usize,
    pub(super) words: u64,
    pub(super) unique_words: u64,
    pub(super) slack: [u32; 64],
    pub(super) case: &'a Case,
    pub(super) drives: Drives,
    pub(super) media_alone: bool,
    /// Whether doubtful states are kept, however many there are.
    pub(super) all_ways: bool,
    /// Whether doubtful states have been given up.
    pub(super) gave_up: bool,
    /// States, times the stops that they made.
    pub(super) work: u64,
}

impl Walk<'_> {
    /// Goes through all of it.
    pub(super) fn all(&mut self) -> Result<(), Stop> {
        for index in 0..self.ctx.events.len() {
            let event = self.ctx.events[index];
            self.ctx.event = index;
            self.signals_before(event.at_ns)?;
            self.advance(event.at_ns, event.at_ns)?;
            let word = self.word_seen(event.at_ns);
            self.accept_before(event.at_ns, |state, ctx| {
                state.acceptance_shows(ctx, event.action, word)
            })?;
            self.take(event)?;
            if self.ctx.asked.event == Some(index) {
                return Err(Stop::Asked);
            }
            if self.ctx.profile.no_drive_read == NoDriveRead::Nothing
                && self.drives.source() == Source::None
                && self.states.iter().any(|state| state.writing.is_some())
            {
                // No bits pass there: the text does not say how a write goes on.
                return Err(Stop::Open("a write while no drive gives any bits"));
            }
        }
        let end_ns = self.ctx.events.last().map_or(0, |event| event.at_ns);
        self.signals_before(end_ns + 1)?;
        self.compare_media(end_ns)
    }

    /// Holds the media after the run against every state's.
    fn compare_media(&mut self, end_ns: u64) -> Result<(), Stop> {
        if self.ctx.asked.media {
            self.end_writes()?;
            self.ctx.asked.ends.extend(self.states.iter().map(|state| state.world));
            return Ok(());
        }
        if self.items.media.is_empty() {
            return Ok(());
        }
        self.end_writes()?;
        let (items, item) = (self.items, self.items.items.len());
        self.narrow(end_ns, item, |state, ctx, out| {
            if let Some(difference) = ctx.tape.difference(state.world, &items.media) {
                return Err(Mismatch::Media(difference));
            }
            out.push(state);
            Ok(())
        })
    }

    /// The program is over: what becomes of a gate that is still open, and every way in which the
    /// last write may have left its track.
    fn end_writes(&mut self) -> Result<(), Stop> {
        self.split(|mut state, ctx, out| {
            state.leave_unfinished(ctx);
            while let Some(mut other) = state.other_way(ctx) {
                std::mem::swap(&mut state, &mut other);
                out.push(other);
            }
            out.push(state);
        })
    }

    /// Signals seen before a moment, each at its own time.
    fn signals_before(&mut self, at_ns: u64) -> Result<(), Stop> {
        while let Some(seen) = self.items.items.get(self.signals_at).filter(|_| !self.media_alone) {
            if seen.at_ns >= at_ns {
                break;
            }
            let signal = match seen.item {
                Item::Done => Some((Signal::Done, Capability::DoneSignal)),
                Item::Refused { transfer } => {
                    Some((Signal::Refused(transfer), Capability::RefusedSignal))
                }
                Item::Match => Some((Signal::Match, Capability::MatchSignal)),
                _ => None,
            };
            if let Some((signal, _)) = signal {
                // Whatever happens at that very moment has happened.
                self.advance(seen.at_ns, seen.at_ns + 1)?;
                self.accept_before(seen.at_ns + 1, |_, _| true)?;
                let item = self.signals_at;
                self.narrow(seen.at_ns, item, |state, _, out| {
                    state.signal(signal, seen.at_ns, out)
                })?;
            }
            self.signals_at += 1;
        }
        Ok(())
    }

    /// Requests may be accepted just before a moment, where that shows.
    fn accept_before(
        &mut self,
        at_ns: u64,
        shows: impl Fn(&State, &Context<'_>) -> bool,
    ) -> Result<(), Stop> {
        for index in 0..self.states.len() {
            let state = &mut self.states[index];
            if !state.pending(&self.ctx).is_empty() && shows(state, &self.ctx) {
                self.ctx.tape.enter(state.world);
                state.accept_before_event(&mut self.ctx, at_ns);
            }
        }
        if self.ctx.others.is_empty() {
            return Ok(());
        }
        // The index of this very moment may start what was accepted.
        self.states.append(self.ctx.others);
        let to = self.states[0].pos;
        self.pass_to(to, at_ns)
    }

    /// Lets bits pass in every state up to a moment, and drops states whose signals are overdue.
    ///
    /// `moment_ns` is the moment up to which what else falls due is taken.
    fn advance(&mut self, at_ns: u64, moment_ns: u64) -> Result<(), Stop> {
        let to = self.ctx.tape.position(at_ns);
        let mut from = self.states.iter().map(|state| state.pos).min().unwrap_or(to);
        while let Some((zone_from, zone_to)) = self.next_crowd(from + 1)
            && zone_from <= to
        {
            for stop in zone_from..zone_to.min(to + 1) {
                self.pass_to(stop, moment_ns)?;
            }
            from = zone_to - 1;
        }
        self.pass_to(to, moment_ns)?;
        if self.ctx.asked.signals {
            for state in self.states.iter() {
                self.ctx.asked.hear_dues(state);
            }
        }
        if self.media_alone || self.states.iter().all(|state| state.dues_in_time(at_ns)) {
            return Ok(());
        }
        let (capabilities, item) = (self.capabilities, self.signals_at);
        self.narrow(at_ns, item, |mut state, _, out| {
            state.drop_unseen(capabilities);
            state.check_dues(at_ns)?;
            out.push(state);
            Ok(())
        })
    }

    /// The next positions, from `from` on, at which states may split again and again: where a match
    /// is unsure, or several requests are on their way. There they all go bit by bit, and equal
    /// ones become one again at once.
    fn next_crowd(&mut self, from: usize) -> Option<(usize, usize)> {
        let requests = self.states.iter().filter_map(|state| {
            let [_, .., last] = state.pending(&self.ctx) else { return None };
            (last.last >= from).then_some((from, last.last + 1))
        });
        let mut next = requests.max();
        let mut seen = usize::MAX;
        for state in self.states.iter() {
            // Neighbours often share their world.
            if state.world == seen {
                continue;
            }
            seen = state.world;
            self.ctx.tape.enter(seen);
            if let Some(zone) = self.ctx.tape.next_zone(from) {
                next = Some(next.map_or(zone, |first| first.min(zone)));
            }
        }
        next
    }

    /// Lets bits pass in every state up to a position.
    fn pass_to(&mut self, to: usize, at_ns: u64) -> Result<(), Stop> {
        let mut index = 0;
        while index < self.states.len() {
            self.ctx.tape.enter(self.states[index].world);
            self.states[index].pass(&mut self.ctx, to, at_ns);
            self.states.append(self.ctx.others);
            if self.states.len() > self.most_states() {
                return Err(Stop::TooMany);
            }
            index += 1;
        }
        if self.ctx.overflow {
            return Err(Stop::TooMany);
        }
        self.merge(at_ns);
        self.give_up_lost();
        self.work += self.states.len() as u64;
        if self.work > MOST_WORK {
            return Err(Stop::TooMany);
        }
        if self.ctx.tape.crowded() {
            self.ctx.tape.keep(self.states.iter().map(|state| state.world));
        }
        Ok(())
    }

    const fn most_states(&self) -> usize {
        if self.media_alone {
            MAX_MEDIA_ALONE
        } else if self.all_ways {
            MAX_ALL_WAYS
        } else {
            MAX_STATES
        }
    }

    /// Gives up states that cannot lead to the media that were seen, or hardly.
    fn give_up_lost(&mut self) {
        if self.states.len() < 2 {
            return;
        }
        let lost = |state: &State| matches!(state.outlook, Outlook::Lost(_));
        // The best of them goes on, for the report: where it alone is left, or comes closest in the
        // end, its write is the one to tell of.
        if let Some(best) = (0..self.states.len())
            .filter(|at| lost(&self.states[*at]))
            .min_by_key(|at| self.states[*at].outlook)
        {
            let mut at = 0;
            self.states.retain(|state| {
                at += 1;
                !lost(state) || at - 1 == best
            });
        }
        let doubtful = |state: &State| state.outlook == Outlook::Doubtful;
        // Media that are looked at alone accuse a write of what the host saw: no way is given up.
        let all_ways = self.all_ways || self.media_alone;
        // A hidden counter's places count as well: so it does not matter here when it is revealed.
        let ways: usize = self.states.iter().map(State::ways).sum();
        if all_ways || ways <= MANY_STATES || !self.states.iter().any(doubtful) {
            return;
        }
        self.gave_up = true;
        if self.states.iter().any(|state| state.outlook == Outlook::Open) {
            self.states.retain(|state| !doubtful(state));
        } else {
            // The first ones took the nominal order of things most often.
            self.states.truncate(MANY_STATES);
        }
    }

    /// One event, with the item that answers it.
    fn take(&mut self, event: Event) -> Result<(), Stop> {
        let at_ns = event.at_ns;
        let item = self.item;
        match event.action {
            Action::Service { transfer } if self.writes(transfer) => {
                let word = |item| match item {
                    Item::Word { transfer: of, .. } if of == transfer => Some(()),
                    _ => None,
                };
                if !self.media_alone && self.answer(at_ns, word).is_some() {
                    return self.narrow(at_ns, item, |_, _, _| Err(Mismatch::WordExtra));
                }
                self.split(|mut state, ctx, out| {
                    out.extend(state.fetch(ctx, transfer, at_ns));
                    out.push(state);
                })?;
            }
            Action::Service { transfer } if self.media_alone => {
                // What was delivered may be written later.
                let word = |item| {
                    matches!(item, Item::Word { transfer: of, .. } if of == transfer).then_some(())
                };
                let _ = self.answer(at_ns, word);
                for state in self.states.iter_mut() {
                    self.ctx.tape.enter(state.world);
                    let _ = state.serve_nominally(&mut self.ctx, transfer, at_ns);
                }
            }
            Action::PollByte | Action::PollStatus if self.media_alone => {
                self.polls += usize::from(event.action == Action::PollStatus);
                let _ = self.answer(at_ns, |item| {
                    matches!(item, Item::Byte { .. } | Item::Status(_)).then_some(())
                });
            }
            Action::Service { transfer } => {
                let seen = self.answer(at_ns, |item| match item {
                    Item::Word { transfer: of, value } if of == transfer => Some(value),
                    _ => None,
                });
                let pinned = self.pins_the_word();
                self.serve(transfer, seen, at_ns, item)?;
                if seen.is_some() {
                    self.count_word(pinned);
                }
            }
            Action::PollByte => {
                let seen = self.answer(at_ns, |item| match item {
                    Item::Byte { value, fresh } => Some((value, fresh)),
                    _ => None,
                });
                let Some(seen) = seen.filter(|_| self.ctx.supposed.compares_bytes()) else {
                    return Ok(());
                };
                self.narrow(at_ns, item, |state, ctx, out| state.poll_byte(ctx, seen, at_ns, out))?;
            }
            Action::PollStatus => {
                let lines = self.ctx.tape.lines(self.polls);
                self.polls += 1;
                let seen = self.answer(at_ns, |item| match item {
                    Item::Status(status) => Some(status),
                    _ => None,
                });
                let Some(seen) = seen else { return Ok(()) };
                let compared = self.compared;
                self.narrow(at_ns, item, |state, ctx, out| {
                    state.poll_status(ctx, (seen, compared, lines), at_ns, out)
                })?;
            }
            Action::Read { words, .. } => self.note_request(words, at_ns),
            Action::Write { transfer, .. } => {
                let mut words = Vec::new();
                let delivered = |of| self.items.delivered(of, self.item);
                words_to_send(self.case, transfer, delivered, &mut words);
                self.note_request(words.len() as u32, at_ns);
                self.ctx.sent.push((transfer, words));
            }
            Action::SyncWord(_) | Action::HardwareSync(_) => {
                self.ctx.divide = Some(self.ctx.event);
                self.split(|state, ctx, out| state.operate(ctx, &event, out))?;
            }
            Action::Abort => {
                self.ctx.divide = Some(self.ctx.event);
                for state in self.states.iter_mut() {
                    self.ctx.tape.enter(state.world);
                    state.abort(&mut self.ctx, at_ns);
                }
            }
            Action::Reset => {
                self.ctx.divide = Some(self.ctx.event);
                let position = self.ctx.tape.position(at_ns);
                let clears = self.ctx.profile.reset_clears_register == YesNo::Yes;
                for state in self.states.iter_mut() {
                    self.ctx.tape.enter(state.world);
                    state.reset(&mut self.ctx, at_ns);
                    if clears {
                        self.ctx.tape.clear_register(position);
                    }
                }
            }
            Action::Select(_) | Action::Side(_) | Action::Motor(_) | Action::Step(_) => {
                self.move_line(&event)?;
            }
            _ => {}
        }
        Ok(())
    }

    /// A request is made: from now on it may be accepted.
    fn note_request(&mut self, words: u32, at_ns: u64) {
        let near = 2 * self.ctx.word_bits;
        let close = |state: &State| state.join > 0 && state.pos - state.join < near;
        match words {
            0 => self.ctx.reach.hit(Point::NoWords),
            1 => self.ctx.reach.hit(Point::OneWord),
            _ => {}
        }
        if self.states.iter().any(close) {
            self.ctx.reach.hit(Point::RequestBackToBack);
        }
        if !self.ctx.requests[self.ctx.made].writes {
            for index in 0..self.states.len() {
                let others = self.states[index].reveal_counter(self.ctx.word_bits);
                self.ctx.others.extend(others);
                self.states.append(self.ctx.others);
            }
        }
        for index in 0..self.states.len() {
            self.ctx.tape.enter(self.states[index].world);
            let other = self.states[index].looked_at_as_made(&mut self.ctx, at_ns);
            self.states.extend(other);
        }
        let lost = self.ctx.is_deaf(at_ns);
        for state in self.states.iter_mut().filter(|state| lost && state.answered == self.ctx.made)
        {
            state.answered += 1;
        }
        self.ctx.made += 1;
    }

    /// A drive line changes.
    fn move_line(&mut self, event: &Event) -> Result<(), Stop> {
        if self.ctx.line_matters() {
            self.ctx.divide = Some(self.ctx.event);
        }
        if self.states.iter().any(State::running) && !matches!(event.action, Action::Motor(_)) {
            self.ctx.reach.hit(Point::SourceRunning);
        }
        let before = self.drives.steering();
        let bench = &self.case.bench;
        match event.action {
            Action::Select(mask) => self.drives.select(mask, bench),
            Action::Side(side) => self.drives.set_side(side),
            Action::Motor(mask) => self.drives.motor(mask, event.at_ns),
            Action::Step(direction) => self.drives.step(direction, bench),
            _ => {}
        }
        let selected = self.drives.selected();
        self.ctx.protected =
            selected.is_some_and(|drive| bench.drives[usize::from(drive)].write_protected);
        let open = self.states.iter().any(State::gate_open);
        let may_be_open = open || self.ctx.tape.position(event.at_ns) < self.ctx.closing_to;
        if may_be_open && matches!(event.action, Action::Step(_)) && selected.is_some() {
            return Err(Stop::Open("a step under an open write gate"));
        }
        if !open {
            return Ok(());
        }
        if before == self.drives.steering() {
            return Ok(());
        }
        self.ctx.reach.hit(Point::LineWriting);
        let at_ns = event.at_ns;
        self.split(|state, ctx, out| state.cut_write(ctx, at_ns, out))
    }

    /// Whether a transfer is one to write.
    fn writes(&self, transfer: u32) -> bool {
        self.ctx.sent.iter().any(|sent| sent.0 == transfer)
    }

    /// A service. One state that allows what was seen, the common case, is taken on in place.
    fn serve(
        &mut self,
        transfer: u32,
        seen: Option<u64>,
        at_ns: u64,
        item: usize,
    ) -> Result<(), Stop> {
        if let [state] = self.states.as_slice() {
            self.ctx.tape.enter(state.world);
        }
        if let [state] = self.states.as_mut_slice()
            && state.writing.is_none()
            && (seen.is_none() || !state.may_complete_first(&mut self.ctx, transfer))
            && state.take(&mut self.ctx, transfer, seen, at_ns).is_ok()
        {
            return Ok(());
        }
        self.narrow(at_ns, item, |state, ctx, out| state.serve(ctx, (transfer, seen), at_ns, out))
    }

    /// The item that answers the event, if the next answer is one.
    fn answer<T>(&mut self, at_ns: u64, fits: impl Fn(Item) -> Option<T>) -> Option<T> {
        while let Some(seen) = self.items.items.get(self.item) {
            let signal = matches!(seen.item, Item::Done | Item::Refused { .. } | Item::Match);
            if !signal {
                let answer = if seen.at_ns == at_ns { fits(seen.item) } else { None };
                if answer.is_some() {
                    self.item += 1;
                }
                return answer;
            }
            self.item += 1;
        }
        None
    }

    /// The transfer that took a word at a moment, if a word is the next answer.
    fn word_seen(&self, at_ns: u64) -> Option<u32> {
        let signal = |item| matches!(item, Item::Done | Item::Refused { .. } | Item::Match);
        let next = self.items.items[self.item..].iter().find(|seen| !signal(seen.item))?;
        match next.item {
            Item::Word { transfer, .. } if next.at_ns == at_ns => Some(transfer),
            _ => None,
        }
    }

    /// Holds an observation against every state; an empty set is a rejection.
    fn narrow(
        &mut self,
        at_ns: u64,
        item: usize,
        mut hold: impl FnMut(State, &mut Context<'_>, &mut Vec<State>) -> Result<(), Mismatch>,
    ) -> Result<(), Stop> {
        self.next.clear();
        // The common case: one state, which allows what was seen. Kept for the report otherwise.
        let mut closest: Option<(Mismatch, usize)> = None;
        for (index, state) in self.states.iter().enumerate() {
            self.ctx.tape.enter(state.world);
            if let Err(mismatch) = hold(state.clone(), &mut self.ctx, self.next)
                && closest.is_none_or(|(best, _)| mismatch < best)
            {
                closest = Some((mismatch, index));
            }
        }
        if let (true, Some((mismatch, index))) = (self.next.is_empty(), closest) {
            let states = self.states.iter().map(State::ways).sum();
            let mut state = self.states.swap_remove(index);
            // What could have been accepted by now is told as accepted.
            self.ctx.tape.enter(state.world);
            state.accept_before_event(&mut self.ctx, at_ns);
            self.ctx.others.clear();
            let event = self.ctx.event;
            let rejection = Rejection { mismatch, event, item, at_ns, states, state };
            return Err(Stop::Rejected(Box::new(rejection)));
        }
        std::mem::swap(self.states, self.next);
        self.merge(at_ns);
        Ok(())
    }

    /// Splits every state; the set only grows.
    fn split(
        &mut self,
        mut split: impl FnMut(State, &mut Context<'_>, &mut Vec<State>),
    ) -> Result<(), Stop> {
        self.next.clear();
        for state in self.states.drain(..) {
            self.ctx.tape.enter(state.world);
            split(state, &mut self.ctx, self.next);
        }
        std::mem::swap(self.states, self.next);
        if self.states.len() > self.most_states() || self.states.is_empty() || self.ctx.overflow {
            return Err(Stop::TooMany);
        }
        Ok(())
    }

    /// Makes one of states that nothing tells apart any more.
    fn merge(&mut self, at_ns: u64) {
        self.merger.merge(self.states, &mut self.ctx, at_ns);
    }

    /// Whether all states expect the same word next, so that no other would be accepted.
    fn pins_the_word(&mut self) -> bool {
        let [first, rest @ ..] = self.states.as_slice() else { return false };
        let mut word = |state: &State| {
            self.ctx.tape.enter(state.world);
            let word = |entry: &Entry| (entry.bits, self.ctx.tape.window(entry.end, entry.bits));
            state.fifo.first().map(word)
        };
        rest.is_empty() || rest.iter().all(|state| word(state) == word(first))
    }

    /// Notes a judged word: whether it was pinned, and the slack where it shows.
    fn count_word(&mut self, pinned: bool) {
        self.words += 1;
        self.unique_words += u64::from(pinned);
        if let [state] = self.states.as_slice()
            && state.transfer.is_none_or(|transfer| transfer.taken == 1)
            && state.slacks.count_ones() == 1
        {
            self.slack[state.slacks.trailing_zeros() as usize] += 1;
        }
    }
}
