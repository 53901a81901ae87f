//! Which states are one: those that nothing to come can tell apart.
//!
//! A state is told as numbers, of all that can still make a difference; states of equal numbers
//! are one. What lies back far enough counts by its content, not by its place: a word of zeros
//! that waits in the FIFO is the same word wherever on the tape it was read.

use super::state::{
    Changed, Context, Due, Entry, Outlook, Phase, Setting, Signal, State, Transfer,
};
use trackproof_contract::{Realign, WriteUnit, YesNo};

/// Makes equal states one. Keep it: its memory is reused.
#[derive(Debug, Default)]
pub(super) struct Merger {
    numbers: Vec<u64>,
    /// Where in `numbers` those of each kept state begin and end.
    spans: Vec<(usize, usize)>,
    /// Kept states by the hash of their numbers; a taken place is passed over.
    table: Vec<u32>,
}

/// An empty place of the table.
const EMPTY: u32 = u32::MAX;

impl Merger {
    /// Keeps the first of each lot of equal states. `at_ns` is a moment before which nothing will
    /// be observed any more.
    pub(super) fn merge(&mut self, states: &mut Vec<State>, ctx: &mut Context<'_>, at_ns: u64) {
        if states.len() < 2 {
            return;
        }
        self.numbers.clear();
        self.spans.clear();
        self.table.clear();
        self.table.resize((2 * states.len()).next_power_of_two(), EMPTY);
        for index in 0..states.len() {
            let begin = self.numbers.len();
            ctx.tape.enter(states[index].world);
            states[index].tell(ctx, at_ns, &mut self.numbers);
            let kept = self.spans.len();
            match self.same_as(begin) {
                Some(same) => {
                    self.numbers.truncate(begin);
                    let (kept, rest) = states.split_at_mut(index);
                    let (same, other) = (&mut kept[same], &rest[0]);
                    same.slacks |= other.slacks;
                    same.not_before = same.not_before.min(other.not_before);
                    if same.counter_is_hidden(ctx) {
                        same.add_phases(other, ctx.word_bits);
                    }
                }
                None => {
                    self.spans.push((begin, self.numbers.len()));
                    states.swap(kept, index);
                }
            }
        }
        states.truncate(self.spans.len());
    }

    /// The kept state of the numbers from `begin` on; else they get the next place.
    fn same_as(&mut self, begin: usize) -> Option<usize> {
        let mask = self.table.len() - 1;
        let mut place = hash(&self.numbers[begin..]) as usize & mask;
        while self.table[place] != EMPTY {
            let kept = self.table[place] as usize;
            let (from, to) = self.spans[kept];
            if self.numbers[from..to] == self.numbers[begin..] {
                return Some(kept);
            }
            place = (place + 1) & mask;
        }
        self.table[place] = self.spans.len() as u32;
        None
    }
}

/// Spreads numbers over a table; no result depends on it. The factor is 2⁶⁴ over the golden ratio.
fn hash(numbers: &[u64]) -> u64 {
    let mix = |hash: u64, number: &u64| {
        (hash.rotate_left(23) ^ number).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    };
    let hash = numbers.iter().fold(0, mix);
    hash ^ hash >> 32
}

impl State {
    /// Tells the state as numbers. Every field is here, or has its reason why it need not be.
    fn tell(&self, ctx: &Context<'_>, at_ns: u64, numbers: &mut Vec<u64>) {
        let Self {
            pos,
            answered,
            turned_down,
            // What is known beside the state.
            not_before: _,
            slacks: _,
            changes,
            base,
            // Other places of a counter that is hidden.
            other_phases: _,
            finish,
            void_to,
            setting,
            before,
            quiet,
            latched,
            shown_ahead,
            // Told by `bytes` and `words`.
            old_bytes: _,
            byte_read,
            old_words: _,
            doubtful_words: _,
            transfer,
            fifo,
            join,
            done_since_ns,
            error,
            error_free_to_ns,
            free_to_ns,
            dues,
            writing,
            context,
            world,
            outlook,
            other_way,
        } = self;
        let (pos, base) = (*pos, *base);
        let ahead = |at: usize| if at > pos { at as u64 } else { 0 };
        let open = |to_ns: u64| if to_ns >= at_ns { to_ns } else { 0 };
        let jitter_ns = u64::from(ctx.profile.poll_jitter).max(1);

        // The counter: only where in a word, and in a byte, the position is; none while that is
        // hidden.
        let watched = ctx.supposed.compares_host();
        let polled = watched && ctx.profile.byte_port == YesNo::Yes && ctx.polled();
        let hidden = self.counter_is_hidden(ctx);
        let period = if polled { ctx.word_bits.max(ctx.byte_bits) } else { ctx.word_bits };
        let boundary = pos - (pos - base) % ctx.word_bits;
        numbers.extend([
            pos as u64,
            *answered as u64,
            *turned_down,
            if hidden { u64::MAX } else { ((pos - base) % period) as u64 },
            ahead(*finish),
            if *void_to > boundary { *void_to as u64 } else { 0 },
        ]);

        // Sync.
        tell_setting(*setting, numbers);
        numbers.push(if ctx.compares(*setting) { ahead(*quiet) } else { *quiet as u64 });
        numbers.push(changes.len() as u64);
        for change in changes.iter() {
            numbers.push(change.at as u64);
            match change.what {
                Changed::On(on) => numbers.extend([0, u64::from(on)]),
                Changed::Word { word, mask } => numbers.extend([word, mask]),
            }
        }
        let before = before.filter(|(_, at)| *at >= pos);
        numbers.push(u64::from(before.is_some()));
        if let Some((setting, at)) = before {
            numbers.push(at as u64);
            tell_setting(setting, numbers);
        }

        // The latched flag: fresh, it may be seen either way.
        if watched {
            let fresh = *latched > 0 && ctx.tape.end_ns(*latched) + jitter_ns >= at_ns;
            numbers.push(if fresh { *latched as u64 } else { u64::from(*latched > 0) });
            numbers.push(if *shown_ahead >= pos { *shown_ahead as u64 } else { 0 });
        }

        // The byte port: the newest byte, and while that is fresh the one before.
        if polled {
            let [newest, before] = self.bytes(pos, ctx.byte_bits);
            let fresh = newest > 0 && ctx.tape.end_ns(newest) + jitter_ns >= at_ns;
            numbers.extend([u64::from(newest > *byte_read), u64::from(fresh)]);
            // While a gate is open, what counts of a byte depends on where it lies.
            if fresh || self.gate_open() {
                let unread = before > *byte_read;
                numbers.extend([newest as u64, before as u64, u64::from(unread)]);
                tell_bits(ctx, before, ctx.byte_bits, numbers);
            }
            tell_bits(ctx, newest, ctx.byte_bits, numbers);
        }

        // The transfer and its words. Whether it was realigned or overrun is for the report, but
        // where the profile asks for the former.
        numbers.push(u64::from(transfer.is_some()));
        if let Some(transfer) = transfer {
            let Transfer { id, words, entered, taken, phase, realigned, frozen, stopped, .. } =
                *transfer;
            let first_only = ctx.profile.realign == Realign::First;
            let flags = [realigned && first_only, frozen, stopped].map(u64::from);
            numbers.extend(flags);
            numbers.extend([id, words, entered, taken].map(u64::from));
            numbers.push(match phase {
                Phase::WaitMatch => 0,
                Phase::Running => 1,
                Phase::WaitIndex(after) if after < pos => 2,
                Phase::WaitIndex(after) => 3 + after as u64,
            });
        }
        numbers.push(fifo.len() as u64);
        for entry in fifo.iter() {
            tell_word(ctx, *entry, at_ns, numbers);
        }
        if ctx.profile.latch_words > 0 {
            // All of them: where some count in doubt, farther ones may be the newest.
            let (words, doubtful) = self.words(ctx.word_bits);
            words.into_iter().for_each(|word| tell_word(ctx, word, at_ns, numbers));
            numbers.push(u64::from(doubtful));
        }
        numbers.push(if self.may_join(ctx) { *join as u64 } else { 0 });

        // What was written, and what is.
        let alike = if *other_way == 0 { ctx.tape.likeness(*world, pos) } else { *world };
        numbers.extend([alike as u64, u64::from(*other_way)]);
        numbers.push(match *outlook {
            Outlook::Open => 0,
            Outlook::Doubtful => 1,
            Outlook::Lost(words) => 2 + u64::from(words),
        });
        if ctx.profile.write_unit == WriteUnit::DataBytes {
            numbers.extend([context.last, context.joins].map(u64::from));
        }
        numbers.push(u64::from(writing.is_some()));
        if let Some(writing) = writing {
            writing.tell(pos, at_ns.saturating_sub(ctx.bit_ns), numbers);
        }

        // Status and signals, which nothing else follows from.
        if !watched {
            return;
        }
        numbers.extend([
            match *done_since_ns {
                None => 0,
                Some(since_ns) if since_ns <= at_ns => 1,
                Some(since_ns) => since_ns,
            },
            u64::from(*error),
            open(*error_free_to_ns),
            open(*free_to_ns),
        ]);
        for &Due { signal, from_ns, to_ns, owed } in dues.iter() {
            let kind = match signal {
                Signal::Done => 0,
                Signal::Match => 1,
                Signal::Refused(transfer) => 2 + u64::from(transfer),
            };
            numbers.extend([
                kind,
                if from_ns < at_ns { 0 } else { from_ns },
                to_ns,
                u64::from(owed),
            ]);
        }
    }
}

fn tell_setting(setting: Setting, numbers: &mut Vec<u64>) {
    numbers.extend([u64::from(setting.on), setting.word]);
}

/// A word that waits: its bits, but its place while it may not have completed yet.
fn tell_word(ctx: &Context<'_>, word: Entry, at_ns: u64, numbers: &mut Vec<u64>) {
    numbers.push(word.bits as u64);
    if ctx.tape.end_ns(word.end) + ctx.bit_ns >= at_ns {
        numbers.extend([0, word.end as u64, 0]);
    } else {
        numbers.push(1);
        tell_bits(ctx, word.end, word.bits, numbers);
    }
}

/// The bits before a position, as far as they are compared.
fn tell_bits(ctx: &Context<'_>, end: usize, count: usize, numbers: &mut Vec<u64>) {
    if end == 0 {
        numbers.extend([0, !0]);
        return;
    }
    let free = ctx.tape.free_window(end, count);
    numbers.extend([ctx.tape.window(end, count) & !free, free]);
}
