//! An implementation made by a library: calls it and believes nothing that it returns unchecked.

use crate::item::{Limits, UNWRITTEN};
use crate::library::Functions;
use crate::setup::SetupBuffers;
use crate::{Library, code, event, maker, raw};
use raw::{TP_FAIL, TP_MORE, TP_OK};
use std::ffi::c_void;
use std::fmt;
use std::ptr::NonNull;
use trackproof_contract::{
    Action, Capabilities, Capability, DiskSubsystem, Event, MAX_EXTRA_ITEMS, Observation, Profile,
    RigError, Setup, Track,
};

/// Most events of one `run()`: nearly every case is one call, and a long one needs little memory.
const MAX_EVENTS_A_CALL: usize = 65_536;

/// Room for the items of one `drain()`.
const ITEMS_A_CALL: usize = 4_096;

/// One implementation, as [`Library::create`] made it; dropping it destroys it.
pub struct CSubsystem {
    library: Library,
    pointer: NonNull<c_void>,
    capabilities: Capabilities,
    profile: Option<Profile>,
    setup: SetupBuffers,
    events: Vec<raw::Event>,
    events_a_call: usize,
    items: Vec<raw::Item>,
    limits: Limits,
    /// Most items that the case may have given by now, and how many it has.
    allowed_items: usize,
    given_items: usize,
    /// The transfer whose words were handed over last, and how many.
    given: Option<(u32, u64)>,
    bytes: Vec<u8>,
}

// SAFETY: the header says that an implementation has no global state and two may live in two
// threads, so one may move to another; the buffers' pointers are never looked at between calls.
unsafe impl Send for CSubsystem {}

impl CSubsystem {
    /// Takes an implementation over and asks what never changes: capabilities and profile.
    ///
    /// # Safety
    /// `pointer` comes from this library's `create()`, and nobody else has it.
    ///
    /// # Errors
    /// What is wrong with the profile that it declares.
    pub(crate) unsafe fn adopt(library: Library, pointer: NonNull<c_void>) -> Result<Self, String> {
        let mut new = Self {
            library,
            pointer,
            capabilities: Capabilities::NONE,
            profile: None,
            setup: SetupBuffers::default(),
            events: Vec::new(),
            events_a_call: MAX_EVENTS_A_CALL,
            items: vec![UNWRITTEN; ITEMS_A_CALL],
            limits: Limits::default(),
            allowed_items: 0,
            given_items: 0,
            given: None,
            bytes: Vec::new(),
        };
        // SAFETY: the implementation is alive, and ours alone.
        let bits = unsafe { (new.functions().capabilities)(new.pointer.as_ptr()) };
        // A controller is given no flux, whatever it says.
        new.capabilities = Capabilities::from_bits(bits).without(Capability::Separator);
        // SAFETY: likewise.
        new.profile = unsafe { maker::declared_profile(new.functions().profile, pointer) }?;
        Ok(new)
    }

    /// The same, given its events one by one and asked for its items one by one: the header allows
    /// any number.
    #[must_use]
    pub fn in_pieces(mut self) -> Self {
        self.events_a_call = 1;
        self.items.truncate(1);
        self
    }

    fn functions(&self) -> &Functions {
        self.library.functions()
    }

    /// A function that the library says by its capabilities that it has.
    fn promised<F>(function: Option<F>, name: &str, can: Capability) -> Result<F, RigError> {
        function.ok_or_else(|| {
            protocol(format!("it says that it can `{can}`, but its `{name}` is null"))
        })
    }

    /// What a call's return code means.
    fn check(&self, call: &'static str, code: i32) -> Result<(), RigError> {
        match code {
            TP_OK => Ok(()),
            TP_FAIL => {
                // SAFETY: the implementation is alive.
                let why = unsafe { self.functions().maker.last_error(self.pointer.as_ptr()) };
                let why = why.unwrap_or_else(|| code::NO_REASON.into());
                Err(RigError::Implementation { call, why })
            }
            other => {
                let more = if call == "drain" { ", 1 (more items)" } else { "" };
                Err(protocol(code::unknown(call, other, more)))
            }
        }
    }

    /// Lays the events out for C and counts what may come back for them.
    fn encode(&mut self, events: &[Event]) -> Result<(), RigError> {
        self.events.clear();
        for event in events {
            let mut given = 0;
            if let Action::Write { transfer, .. } = event.action {
                given = self.given.take_if(|one| one.0 == transfer).map_or(0, |one| one.1);
            }
            if let Action::Read { transfer, .. } | Action::Write { transfer, .. } = event.action {
                self.limits.transfers = self.limits.transfers.max(transfer.saturating_add(1));
            }
            let raw = event::encode(event, given).ok_or_else(|| {
                protocol(format!("trackproof.h has no event for {:?}", event.action))
            })?;
            self.events.push(raw);
        }
        self.allowed_items += events.len();
        Ok(())
    }

    /// Takes all items that wait.
    fn drain(&mut self, out: &mut Observation) -> Result<(), RigError> {
        loop {
            let mut count = u64::MAX;
            let (pointer, capacity) = (self.pointer.as_ptr(), self.items.len() as u64);
            let function = self.functions().drain;
            // SAFETY: the implementation is alive, and there is room for `capacity` items.
            let code =
                unsafe { function(pointer, self.items.as_mut_ptr(), capacity, &raw mut count) };
            let more = code == TP_MORE;
            if !more {
                self.check("drain", code)?;
            }
            if count > capacity {
                return Err(protocol(format!(
                    "`drain` gave {count} items, its capacity was {capacity}; it must set *count \
                     to the number that it wrote"
                )));
            }
            if more && count == 0 {
                return Err(protocol(
                    "`drain` returned TP_MORE with 0 items; while there are more, it must give at \
                     least 1"
                        .into(),
                ));
            }
            let count = count as usize;
            self.given_items += count;
            if self.given_items > self.allowed_items {
                return Err(protocol(format!(
                    "`drain` has given {} items, the limit is {} here: one an event and \
                     {MAX_EXTRA_ITEMS} signals",
                    self.given_items, self.allowed_items
                )));
            }
            for raw in &mut self.items[..count] {
                let item = self.limits.decode(raw).map_err(|why| {
                    protocol(format!("item {} at {} ns: {why}", out.items.len(), raw.at_ns))
                })?;
                out.items.push(item);
                *raw = UNWRITTEN;
            }
            if !more {
                return Ok(());
            }
        }
    }
}

impl DiskSubsystem for CSubsystem {
    fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn power_up(&mut self, setup: Setup<'_>) -> Result<(), RigError> {
        self.limits = Limits { word_bits: setup.profile.word_bits, transfers: 0 };
        self.allowed_items = MAX_EXTRA_ITEMS;
        self.given_items = 0;
        self.given = None;
        let (function, pointer) = (self.functions().power_up, self.pointer.as_ptr());
        let code = self.setup.lend(setup, |setup| {
            // SAFETY: the implementation is alive, and the setup is good until this returns.
            unsafe { function(pointer, setup) }
        });
        self.check("power_up", code)
    }

    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
        for events in events.chunks(self.events_a_call) {
            self.encode(events)?;
            let count = self.events.len() as u64;
            // SAFETY: the implementation is alive, and there are `count` events.
            let code = unsafe {
                (self.functions().run)(self.pointer.as_ptr(), self.events.as_ptr(), count)
            };
            self.check("run", code)?;
            self.drain(out)?;
        }
        Ok(())
    }

    fn give(&mut self, transfer: u32, words: &[u64]) -> Result<(), RigError> {
        let give = Self::promised(self.functions().give, "give", Capability::Write)?;
        let count = words.len() as u64;
        // SAFETY: the implementation is alive, and there are `count` words.
        let code = unsafe { give(self.pointer.as_ptr(), transfer, words.as_ptr(), count) };
        self.given = Some((transfer, count));
        self.check("give", code)
    }

    fn show(&mut self, track: &mut Track) -> Result<(), RigError> {
        let show = Self::promised(self.functions().show, "show", Capability::Media)?;
        let bits = track.medium.track().len();
        self.bytes.clear();
        self.bytes.resize(bits.div_ceil(8), 0);
        let (drive, cylinder, side) =
            (track.drive.into(), track.cylinder.into(), track.side.into());
        // SAFETY: the implementation is alive, and the buffer has as many bytes as the call says.
        let code = unsafe {
            let (bytes, count) = (self.bytes.as_mut_ptr(), self.bytes.len() as u64);
            show(self.pointer.as_ptr(), drive, cylinder, side, bytes, count)
        };
        self.check("show", code)?;
        track.medium.track_mut().set_bytes(&self.bytes, bits);
        Ok(())
    }
}

impl Drop for CSubsystem {
    fn drop(&mut self) {
        // SAFETY: the implementation is alive and nobody uses it after this.
        unsafe { (self.functions().maker.destroy)(self.pointer.as_ptr()) };
    }
}

impl fmt::Debug for CSubsystem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CSubsystem").field("library", &self.library).finish_non_exhaustive()
    }
}

fn protocol(why: String) -> RigError {
    RigError::Protocol { why }
}
