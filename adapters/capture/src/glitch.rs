//! Takes out pulses that are shorter than a given time.
//!
//! A change waits until it has lasted long enough; one that is taken back before never was. Changes
//! of different signals keep their order.

use std::collections::VecDeque;

/// A change of a signal, numbered as its owner likes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Change<V> {
    pub(crate) ns: u64,
    pub(crate) signal: usize,
    pub(crate) from: V,
    pub(crate) to: V,
}

/// The changes that still wait: at most one a signal.
pub(crate) struct GlitchFilter<V> {
    shortest_ns: u64,
    waiting: VecDeque<Change<V>>,
    /// Pulses taken out.
    pub(crate) removed: u64,
}

impl<V: Copy + PartialEq> GlitchFilter<V> {
    pub(crate) const fn new(shortest_ns: u64) -> Self {
        Self { shortest_ns, waiting: VecDeque::new(), removed: 0 }
    }

    /// Takes the next change; times must not go backwards.
    pub(crate) fn take(&mut self, change: Change<V>) {
        let recent = self.waiting.iter().position(|before| {
            before.signal == change.signal && change.ns - before.ns < self.shortest_ns
        });
        match recent.and_then(|place| self.waiting.remove(place)) {
            None => self.waiting.push_back(change),
            Some(before) => {
                self.removed += 1;
                if before.from != change.to {
                    self.waiting.push_back(Change { from: before.from, ..change });
                }
            }
        }
    }

    /// The next change that has lasted long enough at this time.
    pub(crate) fn settled(&mut self, now_ns: u64) -> Option<Change<V>> {
        let first = self.waiting.front()?;
        (now_ns - first.ns >= self.shortest_ns).then(|| self.waiting.pop_front()).flatten()
    }

    /// The next change of those that are left when the recording has ended.
    pub(crate) fn left(&mut self) -> Option<Change<V>> {
        self.waiting.pop_front()
    }
}

#[cfg(test)]
mod tests {
    use super::{Change, GlitchFilter};

    fn kept(shortest_ns: u64, changes: &[(u64, usize, u8, u8)]) -> (Vec<(u64, usize, u8)>, u64) {
        let mut filter = GlitchFilter::new(shortest_ns);
        let mut kept = Vec::new();
        for (ns, signal, from, to) in changes {
            while let Some(change) = filter.settled(*ns) {
                kept.push((change.ns, change.signal, change.to));
            }
            filter.take(Change { ns: *ns, signal: *signal, from: *from, to: *to });
        }
        kept.extend(std::iter::from_fn(|| filter.left()).map(|c| (c.ns, c.signal, c.to)));
        (kept, filter.removed)
    }

    #[test]
    fn short_pulses_go_and_long_ones_stay_in_order() {
        let changes = [(10, 0, 0, 1), (12, 1, 0, 1), (15, 0, 1, 0), (30, 0, 0, 1), (40, 0, 1, 0)];
        assert_eq!(kept(10, &changes), (vec![(12, 1, 1), (30, 0, 1), (40, 0, 0)], 1));
        assert_eq!(kept(0, &changes).0.len(), 5);
    }

    #[test]
    fn a_short_stay_between_two_values_is_one_change() {
        assert_eq!(kept(10, &[(10, 0, 0, 2), (12, 0, 2, 1)]), (vec![(12, 0, 1)], 1));
    }
}
