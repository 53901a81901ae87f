//! The worker's side: orders come in on standard input, records go out on what was standard output.

use super::protocol::{BEGUN, Counts, ENDED, Lent, MAX_LINE_BYTES, Order, Record, VERSION};
use crate::campaign::{CampaignError, Drawn, Inside, Part, Runner};
use crate::generate::Draw;
use std::cell::RefCell;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::rc::Rc;
use trackproof_contract::{Capabilities, Case, Observation, Profile, Rig, RigError};

/// Why a worker has no implementation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Whether it was asked for something that there is not; else it did not start.
    pub usage: bool,
    /// Why.
    pub why: String,
}

/// Serves the program that started this process until that has gone. What the implementation
/// writes to standard output from here on goes to standard error.
///
/// # Errors
/// When the streams are none of a worker, or the program has gone.
pub fn serve(make: impl FnOnce() -> Result<Box<dyn Rig>, Refusal>) -> io::Result<()> {
    let (orders, records) = streams()?;
    let records = Records(Rc::new(RefCell::new(records)));
    let served = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        let rig = match make() {
            Ok(rig) => Marked { rig, records: records.clone() },
            Err(Refusal { usage, why }) => return records.send(&Record::Refused { usage, why }),
        };
        records.send(&Record::Ready {
            version: VERSION.into(),
            capabilities: rig.capabilities().to_bits(),
            lent: rig.lent().to_bits(),
            profile: rig.profile(),
        })?;
        Served { rig: Some(rig), inside: None, records: records.clone() }.all(orders)
    }));
    served.unwrap_or_else(|_| {
        let why = "a panic that is not the implementation's; see the lines above".into();
        records.send(&Record::Fault { why })
    })
}

/// Takes both streams for itself: the implementation may read and write what it likes.
#[cfg(unix)]
fn streams() -> io::Result<(File, File)> {
    use rustix::event::{PollFd, PollFlags, poll};
    use std::os::fd::AsFd;
    let orders = File::from(io::stdin().as_fd().try_clone_to_owned()?);
    let records = File::from(io::stdout().as_fd().try_clone_to_owned()?);
    rustix::stdio::dup2_stdin(File::open("/dev/null")?)?;
    rustix::stdio::dup2_stdout(io::stderr().as_fd())?;
    // Whoever starts this process may die; then nobody is left to end what never comes back.
    let line = orders.try_clone()?;
    std::thread::Builder::new().name("end".into()).stack_size(64 << 10).spawn(move || {
        while poll(&mut [PollFd::new(&line, PollFlags::empty())], None).is_err() {}
        let own = rustix::process::getpid();
        let _ = rustix::process::kill_process_group(own, rustix::process::Signal::KILL);
        let _ = rustix::process::kill_process(own, rustix::process::Signal::KILL);
    })?;
    Ok((orders, records))
}

/// Elsewhere the implementation's own output would mix with ours.
#[cfg(not(unix))]
fn streams() -> io::Result<(File, File)> {
    Err(io::Error::new(io::ErrorKind::Unsupported, "workers need a system of the Unix kind"))
}

/// Where records go.
#[derive(Clone)]
struct Records(Rc<RefCell<File>>);

impl Records {
    fn send(&self, record: &Record) -> io::Result<()> {
        let mut line = serde_json::to_vec(record)?;
        line.push(b'\n');
        self.0.borrow_mut().write_all(&line)
    }

    /// A mark. Where its reader has gone this process ends in a moment.
    fn mark(&self, mark: &str) {
        let line = [mark.as_bytes(), b"\n"].concat();
        let _ = self.0.borrow_mut().write_all(&line);
    }
}

/// A rig that says when it begins and when it has come back.
struct Marked {
    rig: Box<dyn Rig>,
    records: Records,
}

impl Rig for Marked {
    fn capabilities(&self) -> Capabilities {
        self.rig.capabilities()
    }

    fn lent(&self) -> Capabilities {
        self.rig.lent()
    }

    fn profile(&self) -> Option<Profile> {
        self.rig.profile()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        self.records.mark(BEGUN);
        let result = self.rig.run(case, observation);
        self.records.mark(ENDED);
        if let (Err(RigError::Stopped(_)), Some(text)) = (&result, self.rig.last_words()) {
            // Where its reader has gone this process ends in a moment.
            let _ = self.records.send(&Record::Said(text));
        }
        result
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.rig.reset()
    }
}

/// The implementation, which runs single cases until a campaign takes it.
struct Served {
    rig: Option<Marked>,
    inside: Option<Inside>,
    records: Records,
}

impl Served {
    /// Does what it is told until no order comes any more.
    fn all(mut self, orders: File) -> io::Result<()> {
        let mut orders = BufReader::new(orders);
        let mut line = Vec::new();
        loop {
            line.clear();
            orders.by_ref().take(MAX_LINE_BYTES).read_until(b'\n', &mut line)?;
            if line.is_empty() {
                return Ok(());
            }
            match (serde_json::from_slice(&line)?, &mut self.rig, &mut self.inside) {
                (Order::Campaign { profile, seed }, rig @ Some(_), _) => {
                    let rig = rig.take().map(Box::new);
                    self.inside = rig.map(|rig| Inside::new(rig, profile, seed));
                }
                (Order::Cases { first, end }, _, Some(inside)) => {
                    let done = cases(inside, first, end, &self.records)?;
                    self.records.send(&done)?;
                }
                (Order::Drawn(draws), _, Some(inside)) => {
                    if let Some(end) = drawn(inside, &draws, &self.records)? {
                        self.records.send(&end)?;
                    }
                }
                (Order::Case(case), Some(rig), _) => self.records.send(&ran(rig, &case))?,
                _ => return Err(io::Error::other("an order out of turn")),
            }
        }
    }
}

fn ran(rig: &mut Marked, case: &Lent<'_, Case>) -> Record {
    let case: &Case = match case {
        Lent::Lent(case) => case,
        Lent::Owned(case) => case,
    };
    let mut observation = Observation::new();
    match rig.run(case, &mut observation) {
        Ok(()) => Record::Ran(observation),
        Err(RigError::Stopped(stop)) => Record::stopped(stop),
        Err(error) => Record::Untrusted { index: 0, why: error.to_string() },
    }
}

/// Sends a record for each case; gives back the one that ends them early.
fn drawn(inside: &mut Inside, draws: &[Draw], records: &Records) -> io::Result<Option<Record>> {
    let mut lost = Ok(());
    let part = inside.run_drawn(draws, &mut |judged| {
        let name = judged.finding.map(|found| (found.rule.id.into(), found.kind.into()));
        let counts = Box::new(Counts::of(&judged.summary));
        let sent = records.send(&Record::Judged { name, counts });
        if lost.is_ok() {
            lost = sent;
        }
    });
    lost?;
    Ok(match part {
        Ok(Drawn::All) => None,
        Ok(Drawn::Stopped(stop)) => Some(Record::stopped(stop)),
        Ok(Drawn::Abandoned) => Some(Record::Fault { why: "abandoned by nobody".into() }),
        Err(error) => Some(ended(error)),
    })
}

fn ended(error: CampaignError) -> Record {
    match error {
        CampaignError::Run { index, error } => Record::Untrusted { index, why: error.to_string() },
        CampaignError::Start(why) | CampaignError::Fault(why) => Record::Fault { why },
    }
}

fn cases(inside: &mut Inside, first: u64, end: u64, records: &Records) -> io::Result<Record> {
    let mut lost = Ok(());
    let part = inside.run(first..end, &mut |found| {
        let (index, rule, kind) = (found.index, found.rule.id.into(), found.kind.into());
        let sent = records.send(&Record::Found { index, rule, kind });
        if lost.is_ok() {
            lost = sent;
        }
    });
    lost?;
    Ok(match part {
        Ok(Part::Done(summary)) => Record::Done(Box::new(Counts::of(&summary))),
        Ok(Part::Stopped { stop, .. }) => Record::stopped(stop),
        Ok(Part::Abandoned) => Record::Fault { why: "abandoned by nobody".into() },
        Err(error) => ended(error),
    })
}
