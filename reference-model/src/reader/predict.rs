//! What the model would have delivered: a state run on, in the nominal order.

use super::acceptor::Acceptor;
use super::rejection::Rejection;
use super::state::{Context, State};
use crate::reach::Reach;
use trackproof_contract::{Action, Case, Event};

/// A word that a service should have taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Predicted {
    /// When, in nanoseconds.
    pub at_ns: u64,
    /// The word.
    pub value: u64,
    /// Its bits that are not compared.
    pub free: u64,
    /// Where on the tape it ends.
    pub end: usize,
    /// How many channel bits of the tape it has.
    pub bits: usize,
}

impl Acceptor {
    /// The words that `transfer` should have delivered from a rejection on, `count` at most.
    ///
    /// Changes and requests on their way when the rejection came are taken as the closest state
    /// has them; later ones as early as may be.
    pub fn predict(
        &mut self,
        case: &Case,
        events: &[Event],
        rejection: &Rejection,
        transfer: u32,
        count: usize,
    ) -> Vec<Predicted> {
        let mut reach = Reach::default();
        let mut ctx = Context::new(&mut self.worlds, case, events, &mut reach);
        let mut state = rejection.state.clone();
        ctx.tape.enter(state.world);
        let mut words = Vec::new();
        for (index, event) in events.iter().enumerate().skip(rejection.event) {
            ctx.event = index;
            let to = ctx.tape.position(event.at_ns);
            while state.pass(&mut ctx, to, event.at_ns).is_some() {}
            state.dues.clear();
            match event.action {
                Action::Service { transfer: of } => {
                    if let Some(word) = state.serve_nominally(&mut ctx, of, event.at_ns)
                        && of == transfer
                    {
                        words.push(word);
                        if words.len() >= count {
                            break;
                        }
                    }
                }
                Action::Abort => state.abort(&mut ctx, event.at_ns),
                Action::Reset => state.reset(&mut ctx, event.at_ns),
                _ => state.operate_nominally(&mut ctx, event),
            }
        }
        words
    }
}

impl State {
    /// A service in the nominal order takes what waits.
    pub(super) fn serve_nominally(
        &mut self,
        ctx: &mut Context<'_>,
        transfer: u32,
        at_ns: u64,
    ) -> Option<Predicted> {
        let front = *self.fifo.first()?;
        let pad = ctx.word_bits - front.bits;
        let value = ctx.tape.window(front.end, front.bits) << pad;
        let free = ctx.tape.free_window(front.end, front.bits) << pad;
        self.take(ctx, transfer, Some(value), at_ns).ok()?;
        Some(Predicted { at_ns, value, free, end: front.end, bits: front.bits })
    }

    fn operate_nominally(&mut self, ctx: &mut Context<'_>, event: &Event) {
        let mut ways = Vec::new();
        match event.action {
            Action::SyncWord(_) | Action::HardwareSync(_) | Action::Read { .. } => {
                self.clone().operate(ctx, event, &mut ways);
            }
            _ => return,
        }
        if let Some(first) = ways.into_iter().next() {
            *self = first;
        }
    }
}
