//! The program's side of one worker: started, spoken to, waited for, ended.

use super::protocol::{BEGUN, ENDED, MAX_LINE_BYTES, Order, Record, VERSION};
use super::queued::Queued;
use super::rig::IsolatedRig;
use super::runner::WorkerRunner;
use crate::campaign::{CampaignError, CaseTime, MakeRigs, Runner};
use std::ffi::OsString;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};
use trackproof_contract::{Capabilities, Profile, Rig, Stop};

/// Time to make the implementation: a simulated core may build tables.
const START: Duration = Duration::from_secs(60);

/// Times the time of a case that trackproof itself may take between two cases.
const OWN_WORK: u32 = 10;

/// How often a worker that is waited for is looked at.
const LOOK: Duration = Duration::from_millis(50);

/// What a worker that nobody waits for any more may take to end its batch.
const FAREWELL: Duration = Duration::from_secs(1);

/// Time for a worker's end to become known once its records have ended.
const DYING: Duration = Duration::from_secs(2);

/// Records that may wait to be read.
const WAITING: usize = 64;

/// How to start workers of one implementation.
#[derive(Debug, Clone)]
pub struct Workers {
    /// The program, which is to call [`serve`](super::serve).
    pub program: PathBuf,
    /// Its arguments.
    pub arguments: Vec<OsString>,
    /// How long the implementation may be at one case, beside what it waits for a processor.
    pub case_time: Duration,
    /// Hears what an implementation that runs in a process of its own said on standard error before
    /// it stopped.
    pub hear: fn(&str),
}

/// What a worker says of its implementation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hello {
    /// What it can do.
    pub capabilities: Capabilities,
    /// What of that the harness lends it.
    pub lent: Capabilities,
    /// The profile that it declares.
    pub profile: Option<Profile>,
}

/// Why there is no worker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StartError {
    /// It was asked for something that there is not.
    Usage(String),
    /// The implementation did not start.
    Start(String),
    /// A fault of trackproof itself.
    Fault(String),
}

impl std::fmt::Display for StartError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (Self::Usage(why) | Self::Start(why) | Self::Fault(why)) = self;
        f.write_str(why)
    }
}

impl std::error::Error for StartError {}

impl Workers {
    /// Starts one worker, to see what there is.
    ///
    /// # Errors
    /// When there is none.
    pub fn hello(&self) -> Result<Hello, StartError> {
        Worker::start(self, self.case_time).map(|worker| worker.hello.clone())
    }

    fn time(&self, time: CaseTime) -> Duration {
        match time {
            CaseTime::Usual => self.case_time,
            CaseTime::Twice => self.case_time * 2,
            CaseTime::Hundredth => self.case_time / 100,
        }
    }
}

impl MakeRigs for Workers {
    fn rig(&self) -> Result<Box<dyn Rig>, String> {
        self.rig_within(CaseTime::Usual)
    }

    fn rig_within(&self, time: CaseTime) -> Result<Box<dyn Rig>, String> {
        match IsolatedRig::start(self.clone(), self.time(time)) {
            Ok(rig) => Ok(Box::new(rig)),
            Err(error) => Err(error.to_string()),
        }
    }

    fn runner<'a>(
        &'a self,
        profile: &Profile,
        seed: u64,
        time: CaseTime,
        over: &'a (dyn Fn() -> bool + Sync),
    ) -> Result<Box<dyn Runner + 'a>, CampaignError> {
        let worker = Worker::start(self, self.time(time)).map_err(|error| match error {
            StartError::Fault(why) => CampaignError::Fault(why),
            other => CampaignError::Start(other.to_string()),
        })?;
        Ok(Box::new(WorkerRunner::new(worker, profile.clone(), seed, over)))
    }
}

/// What a worker is at, as its marks tell.
#[derive(Debug)]
struct Pulse {
    since: Instant,
    /// Cases that the implementation was given.
    begun: AtomicU64,
    /// Whether it is at one.
    running: AtomicBool,
    /// When the last thing came, in milliseconds since `since`.
    last_ms: AtomicU64,
}

impl Pulse {
    fn touch(&self) {
        let now = u64::try_from(self.since.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.last_ms.store(now, Ordering::SeqCst);
    }

    fn quiet(&self) -> Duration {
        let last = Duration::from_millis(self.last_ms.load(Ordering::SeqCst));
        self.since.elapsed().saturating_sub(last)
    }
}

/// What came of waiting.
#[derive(Debug)]
pub(super) enum Waited {
    Record(Record),
    /// The worker has ended, or was ended.
    Stopped(Stop),
    /// Nobody waits any more.
    Abandoned,
}

/// A worker. It goes with this value.
#[derive(Debug)]
pub(super) struct Worker {
    child: Child,
    orders: Option<ChildStdin>,
    records: Receiver<Option<Record>>,
    pulse: Arc<Pulse>,
    case_time: Duration,
    hear: fn(&str),
    pub(super) hello: Hello,
}

impl Worker {
    /// Starts a worker and waits until its implementation is there.
    pub(super) fn start(workers: &Workers, case_time: Duration) -> Result<Self, StartError> {
        let mut command = Command::new(&workers.program);
        command.args(&workers.arguments).stdin(Stdio::piped()).stdout(Stdio::piped());
        // Ctrl-C is for the program alone, and what the implementation starts ends with it.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command.spawn().map_err(|error| {
            let program = workers.program.display();
            StartError::Start(format!("{program}: cannot be started again as a worker: {error}"))
        })?;
        let pulse = Arc::new(Pulse {
            since: Instant::now(),
            begun: AtomicU64::new(0),
            running: AtomicBool::new(false),
            last_ms: AtomicU64::new(0),
        });
        let (orders, output) = (child.stdin.take(), child.stdout.take());
        let (sender, records) = sync_channel(WAITING);
        if let Some(output) = output {
            let pulse = Arc::clone(&pulse);
            let listening = std::thread::Builder::new().name("records".into());
            if let Err(error) = listening.spawn(move || listen(output, &pulse, &sender)) {
                end(&mut child);
                return Err(StartError::Start(format!(
                    "no thread for a worker's records: {error}"
                )));
            }
        }
        let hello =
            Hello { capabilities: Capabilities::NONE, lent: Capabilities::NONE, profile: None };
        let hear = workers.hear;
        let mut worker = Self { child, orders, records, pulse, case_time, hear, hello };
        worker.hello = worker.greeted()?;
        Ok(worker)
    }

    fn greeted(&mut self) -> Result<Hello, StartError> {
        let other = |what: &str| Err(StartError::Start(format!("its worker {what}")));
        match self.records.recv_timeout(START) {
            Ok(Some(Record::Ready { version, capabilities, lent, profile }))
                if version == VERSION =>
            {
                let [capabilities, lent] = [capabilities, lent].map(Capabilities::from_bits);
                Ok(Hello { capabilities, lent, profile })
            }
            Ok(Some(Record::Ready { .. })) => {
                other("is of another build: the program was replaced under way; start anew")
            }
            Ok(Some(Record::Refused { usage: true, why })) => Err(StartError::Usage(why)),
            Ok(Some(Record::Refused { usage: false, why })) => Err(StartError::Start(why)),
            Ok(Some(Record::Fault { why })) => Err(StartError::Fault(why)),
            Ok(_) => other("said something else than that it is ready"),
            Err(RecvTimeoutError::Timeout) => {
                other(&format!("was not ready after {} s", START.as_secs()))
            }
            Err(RecvTimeoutError::Disconnected) => {
                let stop = self.ended();
                other(&format!("ended before it was ready: {stop}"))
            }
        }
    }

    /// Gives an order. A worker that has gone shows when it is waited for.
    pub(super) fn order(&mut self, order: &Order<'_>) {
        self.pulse.begun.store(0, Ordering::SeqCst);
        self.pulse.running.store(false, Ordering::SeqCst);
        self.pulse.touch();
        let mut line = serde_json::to_vec(order).expect("orders hold nothing that JSON has not");
        line.push(b'\n');
        if let Some(orders) = &mut self.orders {
            let _ = orders.write_all(&line);
        }
    }

    /// Waits for the next record.
    pub(super) fn wait(&mut self, over: &dyn Fn() -> bool) -> Waited {
        let look = LOOK.min(self.case_time / 4).max(Duration::from_millis(1));
        let (mut over_since, mut queued) = (None, Queued::default());
        loop {
            match self.records.recv_timeout(look) {
                Ok(Some(Record::Said(text))) => {
                    (self.hear)(&text);
                    continue;
                }
                Ok(Some(record)) => return Waited::Record(record),
                Ok(None) => {
                    end(&mut self.child);
                    return Waited::Stopped(Stop::Garbled);
                }
                Err(RecvTimeoutError::Disconnected) => return Waited::Stopped(self.ended()),
                Err(RecvTimeoutError::Timeout) => {}
            }
            if over() {
                let since = *over_since.get_or_insert_with(Instant::now);
                if since.elapsed() > FAREWELL {
                    end(&mut self.child);
                    return Waited::Abandoned;
                }
            }
            let factor = if self.pulse.running.load(Ordering::SeqCst) { 1 } else { OWN_WORK };
            // On a loaded machine it may not have had its turn.
            let waited = queued.time(self.child.id(), self.pulse.last_ms.load(Ordering::SeqCst));
            if self.pulse.quiet() > self.case_time * factor + waited {
                return match self.child.try_wait() {
                    Ok(Some(status)) => Waited::Stopped(Stop::of_status(status)),
                    _ => {
                        end(&mut self.child);
                        let limit_ms = u64::try_from(self.case_time.as_millis());
                        let limit_ms = limit_ms.unwrap_or(u64::MAX);
                        Waited::Stopped(Stop::Endless { limit_ms })
                    }
                };
            }
        }
    }

    /// How many cases the implementation has been given since the last order.
    pub(super) fn begun(&self) -> u64 {
        self.pulse.begun.load(Ordering::SeqCst)
    }

    /// How a worker ended whose records have ended.
    fn ended(&mut self) -> Stop {
        let since = Instant::now();
        while since.elapsed() < DYING {
            if let Ok(Some(status)) = self.child.try_wait() {
                return Stop::of_status(status);
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        // It lives and has closed its output.
        end(&mut self.child);
        Stop::Garbled
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        drop(self.orders.take());
        end(&mut self.child);
    }
}

/// Ends a worker with all that it has started.
fn end(child: &mut Child) {
    if matches!(child.try_wait(), Ok(Some(_))) {
        return;
    }
    #[cfg(unix)]
    let _ = rustix::process::kill_process_group(
        rustix::process::Pid::from_child(child),
        rustix::process::Signal::KILL,
    );
    let _ = child.kill();
    let _ = child.wait();
}

/// Reads a worker's records until they end; `None` for what is none.
fn listen(output: ChildStdout, pulse: &Pulse, sender: &SyncSender<Option<Record>>) {
    let mut output = BufReader::with_capacity(64 << 10, output);
    let mut line = Vec::new();
    loop {
        line.clear();
        match output.by_ref().take(MAX_LINE_BYTES).read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) => pulse.touch(),
        }
        // The last line of a worker that died while it wrote is no line.
        let Some(text) = line.strip_suffix(b"\n") else { return };
        if text == BEGUN.as_bytes() {
            pulse.begun.fetch_add(1, Ordering::SeqCst);
            pulse.running.store(true, Ordering::SeqCst);
        } else if text == ENDED.as_bytes() {
            pulse.running.store(false, Ordering::SeqCst);
        } else {
            let record = serde_json::from_slice(text).ok();
            let garbled = record.is_none();
            if sender.send(record).is_err() || garbled {
                return;
            }
        }
    }
}
