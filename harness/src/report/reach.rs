//! Which points of a run's reach an implementation can be brought to at all: a point that needs what
//! it lacks was not missed.

use crate::campaign::Summary;
use trackproof_contract::{Capabilities, Capability, Profile};
use trackproof_model::reach::Point;

/// One point as a report shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Reached {
    /// The point's name.
    pub(super) name: String,
    /// Cases that reached it.
    pub(super) cases: u64,
    /// Whether any case could.
    pub(super) possible: bool,
}

/// Every point of a profile, in the model's order.
pub(super) fn points(profile: &Profile, summary: &Summary) -> Vec<Reached> {
    // A separator is brought to other places than all else.
    let separates = summary.capabilities.are_a_separators();
    Point::all(profile.word_bits, profile.fifo_words)
        .filter(|point| point.is_of_flux() == separates)
        .map(|point| Reached {
            name: point.to_string(),
            cases: summary.reach.of(point),
            possible: possible(point, summary.capabilities),
        })
        .collect()
}

/// Whether an implementation of these capabilities can be brought there.
fn possible(point: Point, capabilities: Capabilities) -> bool {
    use Capability::{
        Abort, BytePort, HardwareSync, IndexStart, Read, Reset, Separator, SyncWord, Write,
    };
    let can = |one| capabilities.has(one);
    let reads = can(Read) || can(HardwareSync) || can(IndexStart);
    match point {
        Point::StartPhase(_)
        | Point::RealignPartial(_)
        | Point::AlignedMatch
        | Point::MatchAcrossIndex
        | Point::SyncOnRunning
        | Point::SyncOffRunning
        | Point::SyncOffWaiting => can(HardwareSync),
        Point::SyncWordWaiting => can(SyncWord) && (can(HardwareSync) || can(IndexStart)),
        Point::IndexStart => can(IndexStart),
        Point::RequestWaiting => can(HardwareSync) || can(IndexStart),
        Point::FifoFilled(_)
        | Point::Overrun(_)
        | Point::RequestRunning
        | Point::RequestBackToBack
        | Point::NoWords
        | Point::OneWord
        | Point::SourceRunning
        | Point::Completed => reads,
        Point::AbortIdle => can(Abort),
        Point::AbortWaiting => can(Abort) && can(HardwareSync),
        Point::AbortWaitingIndex => can(Abort) && can(IndexStart),
        Point::AbortRunning | Point::AbortFilled => can(Abort) && reads,
        Point::ResetIdle => can(Reset),
        Point::ResetBusy => can(Reset) && reads,
        Point::ByteEdge => can(BytePort),
        Point::WriteAtMatch => can(Write) && can(HardwareSync),
        Point::WriteAtIndex => can(Write) && can(IndexStart),
        Point::AbortWriteWaiting | Point::AbortWriting => can(Write) && (can(Abort) || can(Reset)),
        Point::ReadWritten => can(Write) && reads,
        Point::RequestWriting
        | Point::WriteAtOnce
        | Point::WriteMissed
        | Point::Underrun
        | Point::WriteCompleted
        | Point::LineWriting
        | Point::WriteAcrossIndex
        | Point::WriteLong => can(Write),
        Point::FluxEven
        | Point::FluxStep
        | Point::FluxRamp
        | Point::FluxSinusoid
        | Point::FluxShifted
        | Point::FluxErased
        | Point::FluxSpliced => can(Separator),
    }
}

#[cfg(test)]
mod tests {
    use super::points;
    use crate::campaign::Summary;
    use trackproof_contract::{Capabilities, Capability, Profile};

    fn possible(capabilities: Capabilities) -> Vec<String> {
        let summary = Summary { capabilities, ..Summary::default() };
        points(&Profile::sync_dma(), &summary)
            .into_iter()
            .filter(|point| point.possible)
            .map(|point| point.name)
            .collect()
    }

    #[test]
    fn a_point_is_possible_where_what_it_needs_is_there() {
        let all = points(&Profile::sync_dma(), &Summary::default()).len();
        assert_eq!(possible(Capabilities::of(&[Capability::Separator])).len(), 7);
        assert_eq!(possible(Capabilities::all()).len(), all);
        assert!(possible(Capabilities::NONE).is_empty());
        assert_eq!(possible(Capabilities::of(&[Capability::BytePort])), ["byte-edge"]);
        let raw = possible(Capabilities::of(&[Capability::Read, Capability::Abort]));
        assert!(raw.contains(&"abort-filled".into()) && raw.contains(&"overrun-at-3".into()));
        assert!(!raw.iter().any(|name| name.starts_with("start-phase")), "{raw:?}");
        assert!(!raw.contains(&"abort-waiting".into()), "{raw:?}");
    }
}
