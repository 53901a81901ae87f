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
    /// Requests are accepted as early as may be, and changes of the setting take effect as early,
    /// but for those that were on their way when the rejection came: the closest state has them.
    pub fn predict(
        &mut self,
        case: &Case,
        events: &[Event],
        rejection: &Rejection,
        transfer: u32,
        count: usize,
    ) -> Vec<Predicted> {
        let mut reach = Reach::default();
        let mut ctx = Context::new(
            &mut self.worlds,
            case,
            events,
            &self.requests,
            &mut self.sent,
            &mut self.others,
            &mut reach,
        );
        ctx.made = self.requests.partition_point(|request| request.event < rejection.event);
        ctx.prompt = true;
        let mut state = rejection.state.clone();
        ctx.tape.enter(state.world);
        let mut words = Vec::new();
        for (index, event) in events.iter().enumerate().skip(rejection.event) {
            ctx.event = index;
            let to = ctx.tape.position(event.at_ns);
            state.pass(&mut ctx, to, event.at_ns);
            ctx.others.clear();
            state.dues.clear();
            match event.action {
                Action::Service { transfer: of } => {
                    let _ = state.fetch(&mut ctx, of, event.at_ns);
                    if let Some(word) = state.serve_nominally(&mut ctx, of, event.at_ns)
                        && of == transfer
                    {
                        words.push(word);
                        if words.len() >= count {
                            break;
                        }
                    }
                }
                Action::Read { .. } | Action::Write { .. } => ctx.made += 1,
                Action::Abort => state.abort(&mut ctx, event.at_ns),
                Action::Reset => state.reset(&mut ctx, event.at_ns),
                _ => state.operate_nominally(&mut ctx, event),
            }
        }
        ctx.tape.enter(rejection.state.world);
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
            Action::SyncWord(_) | Action::HardwareSync(_) => {
                self.clone().operate(ctx, event, &mut ways);
            }
            _ => return,
        }
        if let Some(first) = ways.into_iter().next() {
            *self = first;
        }
    }
}
