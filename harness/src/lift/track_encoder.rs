//! The lift of a [`TrackEncoder`]: adds drives that stream what it makes, and a raw reader.

use super::bench::LentBench;
use super::raw_reader::RawReader;
use super::requests::{Request, Requests};
use super::walk::{Part, Seen, Walk};
use super::{MakePart, called, is_there};
use trackproof_contract::{
    Action, Capabilities, Capability, DiskSubsystem, Event, ImageTrack, Item, Medium, Observation,
    Profile, Rig, RigError, SectorLayout, Setup, StartBusy, Status, SubsystemRig, TrackEncoder,
    TransferRequest,
};

/// What the host needs to read a stream, none of which is the encoder's.
const LENT: [Capability; 6] = [
    Capability::Read,
    Capability::IndexStart,
    Capability::Fifo,
    Capability::Drives,
    Capability::Sides,
    Capability::Step,
];

/// The method of a [`TrackEncoder`] with the capability that it opens.
pub const METHODS: &[(&str, &[Capability])] = &[("encode", &[Capability::ImageDrives])];

/// A rig of the encoder that `make` makes: a new one each time that power comes on.
///
/// ```
/// use trackproof::lift::track_encoder;
/// use trackproof_contract::{Capability, ChannelBits, ImageTrack, SeamError, TrackEncoder};
/// struct Zeros;
/// impl TrackEncoder for Zeros {
///     fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError> {
///         Ok(ChannelBits::zeros(track.turn_bits))
///     }
/// }
/// let rig = track_encoder::rig(std::sync::Arc::new(|| Zeros));
/// assert!(rig.capabilities().has(Capability::ImageDrives));
/// assert!(rig.lent().has(Capability::Read));
/// ```
#[must_use]
pub fn rig<E: TrackEncoder + 'static>(make: MakePart<E>) -> Box<dyn Rig> {
    Box::new(SubsystemRig::new(TrackEncoderLift::new(make)))
}

/// An encoder with drives and a host that reads raw.
pub struct TrackEncoderLift<E> {
    make: MakePart<E>,
    encodes: bool,
    bench: LentBench,
    walk: Walk,
    reading: Reading,
}

/// The host that reads.
struct Reading {
    requests: Requests,
    reader: RawReader,
    start_busy: StartBusy,
}

impl<E: TrackEncoder> TrackEncoderLift<E> {
    /// The lift of the encoder that `make` makes.
    #[must_use]
    pub fn new(make: MakePart<E>) -> Self {
        let layout = SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 };
        let turn_bits = layout.used_bits();
        let tried = ImageTrack { cylinder: 0, side: 0, layout, sectors: &[0, 0], turn_bits };
        let profile = Profile::sync_dma();
        Self {
            encodes: is_there(make().encode(&tried)),
            make,
            bench: LentBench::default(),
            walk: Walk::default(),
            reading: Reading {
                requests: Requests::default(),
                reader: RawReader::new(&profile),
                start_busy: profile.start_busy,
            },
        }
    }
}

impl<E: TrackEncoder> DiskSubsystem for TrackEncoderLift<E> {
    fn capabilities(&self) -> Capabilities {
        match self.encodes {
            true => Capabilities::of(&LENT).with(Capability::ImageDrives),
            false => Capabilities::NONE,
        }
    }

    fn lent(&self) -> Capabilities {
        Capabilities::of(&LENT)
    }

    fn power_up(&mut self, setup: Setup<'_>) -> Result<(), RigError> {
        self.bench.power_up(setup);
        self.walk.power_up(setup);
        self.reading.requests.power_up(setup.profile);
        self.reading.reader = RawReader::new(setup.profile);
        self.reading.start_busy = setup.profile.start_busy;
        let mut encoder = (self.make)();
        for (index, track) in setup.tracks.iter().enumerate() {
            let Medium::Image { layout, sectors } = &track.medium else { continue };
            let turn_bits = setup.bench.drives[usize::from(track.drive)].turn_bits as usize;
            let image = ImageTrack {
                cylinder: track.cylinder,
                side: track.side,
                layout: *layout,
                sectors: &sectors.to_bytes(),
                turn_bits,
            };
            let stream = called("encode", encoder.encode(&image))?;
            if stream.len() != turn_bits {
                return Err(RigError::Protocol {
                    why: format!(
                        "`encode` made {} channel bits of drive {} cylinder {} side {}, its turn \
                         has {turn_bits}",
                        stream.len(),
                        track.drive,
                        track.cylinder,
                        track.side
                    ),
                });
            }
            self.bench.record(index, stream);
        }
        Ok(())
    }

    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
        self.walk.run(&mut self.reading, &mut self.bench, events, out)
    }
}

impl Part for Reading {
    fn begin_cell(&mut self, _: &mut Seen<'_>, index: bool) -> Result<Option<bool>, RigError> {
        if index {
            self.reader.index();
        }
        Ok(None)
    }

    fn end_cell(&mut self, seen: &mut Seen<'_>, bit: Option<bool>) -> Result<(), RigError> {
        self.accept(seen.at_ns - 1);
        if let Some(bit) = bit {
            self.reader.shift_in(bit);
        }
        Ok(())
    }

    fn event(&mut self, seen: &mut Seen<'_>, event: &Event, _: bool) -> Result<(), RigError> {
        self.accept(seen.accepts_by(event.action));
        match event.action {
            Action::Read { transfer, words, start } => {
                let request = Request::Read(TransferRequest { transfer, words, start });
                self.requests.push(seen.at_ns, request);
                self.accept(Some(seen.at_ns));
            }
            Action::Service { transfer } => {
                if let Some(value) = self.reader.host.service(transfer) {
                    seen.push(Item::Word { transfer, value });
                }
            }
            Action::PollStatus => seen.push(Item::Status(Status::default())),
            _ => {}
        }
        Ok(())
    }
}

impl Reading {
    fn accept(&mut self, by_ns: impl Into<Option<u64>>) {
        let Some(by_ns) = by_ns.into() else { return };
        while let Some(request) = self.requests.accepted_by(by_ns) {
            let Request::Read(request) = request else { continue };
            if self.reader.host.is_busy() {
                if self.start_busy != StartBusy::Replace {
                    continue;
                }
                self.reader.abort();
            }
            self.reader.accept(request);
        }
    }
}
