//! A rig whose cases are run by a worker, which is started anew whenever it has ended.

use super::process::{Hello, StartError, Waited, Worker, Workers};
use super::protocol::{Lent, Order, Record, stop_of};
use std::time::Duration;
use trackproof_contract::{
    Capabilities, Case, Event, Observation, Profile, Rig, RigError, Stop, timeline,
};

/// The rig.
#[derive(Debug)]
pub(super) struct IsolatedRig {
    workers: Workers,
    case_time: Duration,
    hello: Hello,
    /// None once it has ended, until the next case.
    worker: Option<Worker>,
    events: Vec<Event>,
}

impl IsolatedRig {
    pub(super) fn start(workers: Workers, case_time: Duration) -> Result<Self, StartError> {
        let worker = Worker::start(&workers, case_time)?;
        let hello = worker.hello.clone();
        Ok(Self { workers, case_time, hello, worker: Some(worker), events: Vec::new() })
    }

    /// What a worker's process can be made to say is held to the form that the judge relies on.
    fn check(&mut self, case: &Case, observation: &Observation) -> bool {
        timeline(case, &mut self.events);
        observation.check_form(&self.events).is_ok()
            && observation.check_media(&case.tracks).is_ok()
            && observation.check_separated(case).is_ok()
    }

    fn stopped(&mut self, stop: Stop) -> Result<(), RigError> {
        self.worker = None;
        Err(RigError::Stopped(stop))
    }
}

impl Rig for IsolatedRig {
    fn capabilities(&self) -> Capabilities {
        self.hello.capabilities
    }

    fn lent(&self) -> Capabilities {
        self.hello.lent
    }

    fn profile(&self) -> Option<Profile> {
        self.hello.profile.clone()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        let worker = match &mut self.worker {
            Some(worker) => worker,
            empty => {
                let started = Worker::start(&self.workers, self.case_time);
                let worker =
                    started.map_err(|error| RigError::Worker { why: error.to_string() })?;
                empty.insert(worker)
            }
        };
        worker.order(&Order::Case(Lent::Lent(case)));
        match worker.wait(&|| false) {
            Waited::Record(Record::Ran(came)) => {
                *observation = came;
                if self.check(case, observation) {
                    return Ok(());
                }
                self.stopped(Stop::Garbled)
            }
            Waited::Record(Record::Stopped { kind, detail }) => {
                self.stopped(stop_of(&kind, &detail))
            }
            Waited::Record(Record::Untrusted { why, .. } | Record::Fault { why }) => {
                self.worker = None;
                Err(RigError::Worker { why })
            }
            Waited::Record(_) | Waited::Abandoned => self.stopped(Stop::Garbled),
            Waited::Stopped(stop) => self.stopped(stop),
        }
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.worker = None;
        Ok(())
    }
}
