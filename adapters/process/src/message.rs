//! The messages, as `PROTOCOL.md` has them. What the contract has a form for stands here in that.

use serde::{Deserialize, Serialize};
use trackproof_contract::{
    Case, ChannelBits, ImageTrack, Item, Observation, Profile, SectorLayout, Start,
};

/// The version of the protocol: changes with every message that an older child would misread.
pub const PROTOCOL: u32 = 1;

/// The first line, to the child.
#[derive(Debug, Serialize)]
pub(crate) struct Greeting {
    pub(crate) protocol: u32,
}

/// A case for a whole controller.
#[derive(Debug, Serialize)]
pub(crate) struct CaseMessage<'a> {
    pub(crate) id: u64,
    pub(crate) case: &'a Case,
}

/// A case for a word reader: what is done to it, call by call.
#[derive(Debug, Serialize)]
pub(crate) struct ReadMessage<'a> {
    pub(crate) id: u64,
    pub(crate) profile: &'a Profile,
    pub(crate) calls: &'a [Call],
}

/// A case for a track encoder: the tracks that it has images of.
#[derive(Debug, Serialize)]
pub(crate) struct EncodeMessage<'a> {
    pub(crate) id: u64,
    pub(crate) images: &'a [Image],
}

/// A case for a data separator: the flux, whole.
#[derive(Debug, Serialize)]
pub(crate) struct SeparateMessage<'a> {
    pub(crate) id: u64,
    pub(crate) profile: &'a Profile,
    pub(crate) until_ns: u64,
    pub(crate) transitions_ns: &'a [u64],
}

/// One call of a word reader, or many: each bit that is shifted in is one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "call", rename_all = "kebab-case")]
pub(crate) enum Call {
    ShiftIn(ChannelBits),
    Request { transfer: u32, words: u32, start: Start },
    Service { transfer: u32 },
    SyncWord { word: u64 },
    HardwareSync { on: bool },
    SourceChanged,
    Index,
    Abort,
    Reset,
    PollStatus,
    PollByte,
}

/// A track of an image.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Image {
    cylinder: u8,
    side: u8,
    layout: SectorLayout,
    sectors: ChannelBits,
    turn_bits: usize,
}

impl Image {
    pub(crate) fn of(track: &ImageTrack<'_>) -> Self {
        Self {
            cylinder: track.cylinder,
            side: track.side,
            layout: track.layout,
            sectors: ChannelBits::from_bytes(track.sectors, 8 * track.sectors.len()),
            turn_bits: track.turn_bits,
        }
    }
}

/// What came of a call of a word reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(crate) struct Came {
    /// The call's number, from 0.
    pub(crate) at: u64,
    pub(crate) item: Item,
}

/// Any answer. One of the fields but `id` is there; others are ignored.
#[derive(Debug, Deserialize)]
pub(crate) struct Answer {
    pub(crate) id: u64,
    /// The child cannot do what it was asked, and says why.
    pub(crate) failed: Option<String>,
    pub(crate) observation: Option<Observation>,
    pub(crate) came: Option<Vec<Came>>,
    pub(crate) streams: Option<Vec<ChannelBits>>,
    pub(crate) separated: Option<ChannelBits>,
}

#[cfg(test)]
mod tests {
    use super::Call;
    use trackproof_contract::{ChannelBits, Start};

    #[test]
    fn calls_are_written_as_the_protocol_has_them() {
        for (call, text) in [
            (
                Call::ShiftIn(ChannelBits::from_bytes(&[0x44, 0x80], 9)),
                r#"{"call":"shift-in","bits":9,"hex":"4480"}"#,
            ),
            (
                Call::Request { transfer: 1, words: 5, start: Start::Match },
                r#"{"call":"request","transfer":1,"words":5,"start":"match"}"#,
            ),
            (Call::HardwareSync { on: true }, r#"{"call":"hardware-sync","on":true}"#),
            (Call::SourceChanged, r#"{"call":"source-changed"}"#),
        ] {
            assert_eq!(serde_json::to_string(&call).unwrap(), text);
        }
    }
}
