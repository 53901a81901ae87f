//! Time: the events of a case and the channel bits between them, in the one order that there is.
//!
//! At one moment come the bit of the cell that ends there, services, the other events in their
//! order, and then what the begin of the next cell starts: index, write start, serialiser.

use super::bench::LentBench;
use trackproof_contract::{Action, Event, Item, Observation, Observed, RigError, Setup};

/// A part of a controller between its drives and its host.
pub(super) trait Part {
    /// A cell begins; `index`: it is the first of a turn. What comes out is the gate: open with a
    /// bit that is written, or closed.
    fn begin_cell(&mut self, seen: &mut Seen<'_>, index: bool) -> Result<Option<bool>, RigError>;

    /// A cell ends with `bit`, if one comes.
    fn end_cell(&mut self, seen: &mut Seen<'_>, bit: Option<bool>) -> Result<(), RigError>;

    /// An event; `switched`: read data comes from elsewhere from now on.
    fn event(&mut self, seen: &mut Seen<'_>, event: &Event, switched: bool)
    -> Result<(), RigError>;
}

/// What the host sees, at the moment that it is.
pub(super) struct Seen<'a> {
    pub(super) at_ns: u64,
    /// The line of the selected drive.
    pub(super) write_protected: bool,
    out: &'a mut Observation,
}

impl Seen<'_> {
    pub(super) fn push(&mut self, item: Item) {
        self.out.items.push(Observed { at_ns: self.at_ns, item });
    }

    /// Until when requests are accepted before an event of this moment: services come before what
    /// is accepted at their moment.
    pub(super) const fn accepts_by(&self, action: Action) -> Option<u64> {
        match action {
            Action::Service { .. } => self.at_ns.checked_sub(1),
            _ => Some(self.at_ns),
        }
    }
}

/// How far a case has come.
#[derive(Debug, Default)]
pub(super) struct Walk {
    cell_ns: u64,
    cell_begin_ns: u64,
    cell_begun: bool,
}

impl Walk {
    pub(super) fn power_up(&mut self, setup: Setup<'_>) {
        let cell_ns = u64::from(setup.profile.channel_bit_ns);
        *self = Self { cell_ns, cell_begin_ns: 0, cell_begun: false };
    }

    /// Lives through `events`, which continue where the last call ended.
    pub(super) fn run(
        &mut self,
        part: &mut impl Part,
        bench: &mut LentBench,
        events: &[Event],
        out: &mut Observation,
    ) -> Result<(), RigError> {
        let write_protected = bench.write_protected();
        let mut seen = Seen { at_ns: self.cell_begin_ns, write_protected, out };
        for event in events {
            self.pass_cells(part, bench, event.at_ns, &mut seen)?;
            seen.at_ns = event.at_ns;
            let switched = bench.take(event.action);
            seen.write_protected = bench.write_protected();
            part.event(&mut seen, event, switched)?;
        }
        Ok(())
    }

    /// Lets all cells pass that end at `until_ns` or before. The cell that begins at `until_ns`
    /// has not begun yet: what happens at that moment comes first.
    fn pass_cells(
        &mut self,
        part: &mut impl Part,
        bench: &mut LentBench,
        until_ns: u64,
        seen: &mut Seen<'_>,
    ) -> Result<(), RigError> {
        while self.cell_begin_ns < until_ns {
            if !self.cell_begun {
                self.cell_begun = true;
                seen.at_ns = self.cell_begin_ns;
                let laid = part.begin_cell(seen, bench.at_index())?;
                bench.lay(laid);
            }
            if until_ns - self.cell_begin_ns < self.cell_ns {
                break;
            }
            self.cell_begin_ns += self.cell_ns;
            self.cell_begun = false;
            seen.at_ns = self.cell_begin_ns;
            let bit = bench.end_cell();
            part.end_cell(seen, bit)?;
        }
        Ok(())
    }
}
