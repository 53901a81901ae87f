//! One child: started and greeted, asked case by case, ended.

use crate::error::StartError;
use crate::group::Group;
use crate::hello::Hello;
use crate::limits::{Limits, MAX_HELLO_BYTES};
use crate::message::{Answer, Greeting, PROTOCOL};
use crate::pipes::{Failed, Pipes};
use crate::said::shown;
use serde::Serialize;
use std::io::ErrorKind;
use std::time::Duration;
use trackproof_contract::{RigError, Stop};

/// A child that has said hello. It goes with this value.
#[derive(Debug)]
pub(crate) struct Child {
    // The order is that of their ends: a child whose input has ended ends by itself.
    pipes: Pipes,
    group: Group,
    pub(crate) hello: Hello,
    next_id: u64,
}

impl Child {
    /// Starts a command and waits for its hello.
    pub(crate) fn start(words: &[String], limits: &Limits) -> Result<Self, StartError> {
        let started = Group::start(words, limits.end);
        let (mut group, streams) = started.map_err(|error| {
            let why = format!("{}: {error}", words[0]);
            match error.kind() {
                ErrorKind::NotFound | ErrorKind::PermissionDenied => StartError::Command { why },
                _ => StartError::Child { why },
            }
        })?;
        let mut pipes = Pipes::new(streams).map_err(|error| StartError::Child {
            why: format!("the pipes of {}: {error}", words[0]),
        })?;
        let greeting = line(&Greeting { protocol: PROTOCOL });
        let time = Some(limits.start);
        let hello = match pipes.exchange(&mut group, &greeting, MAX_HELLO_BYTES, time) {
            Ok(line) => Hello::read(&line),
            // It may say hello before it reads, and then we have not been heard yet; that is well.
            Err(Failed::Ended(status)) => {
                Err(format!("it ended before its hello: {}", Stop::of_status(status)))
            }
            Err(Failed::Late(time)) => {
                Err(format!("it had not said hello after {} s", seconds(time)))
            }
            Err(failed) => Err(told(&failed, "its hello")),
        };
        match hello {
            Ok(hello) => Ok(Self { pipes, group, hello, next_id: 0 }),
            Err(why) => {
                pipes.drain_errors();
                Err(StartError::Child { why: with_words(&why, &pipes) })
            }
        }
    }

    /// Asks the child and waits for its answer, of at most `limit` bytes. A child that has not
    /// answered as it should is not to be asked again.
    pub(crate) fn ask<M: Serialize>(
        &mut self,
        message: impl FnOnce(u64) -> M,
        limit: usize,
        time: Option<Duration>,
    ) -> Result<Answer, RigError> {
        let id = self.next_id;
        self.next_id += 1;
        let asked = line(&message(id));
        let what = || format!("its answer to case {id}");
        let line = match self.pipes.exchange(&mut self.group, &asked, limit, time) {
            Ok(line) => line,
            Err(Failed::Ended(status)) => return Err(RigError::Stopped(Stop::of_status(status))),
            Err(Failed::Late(time)) => {
                let limit_ms = u64::try_from(time.as_millis()).unwrap_or(u64::MAX);
                // What it says while it is asked to end may tell what it was at.
                self.group.terminate();
                self.group.wait(Duration::from_millis(100));
                self.pipes.drain_errors();
                return Err(RigError::Stopped(Stop::Endless { limit_ms }));
            }
            Err(failed) => return Err(self.broke(&told(&failed, &what()))),
        };
        let answer: Answer = serde_json::from_slice(&line).map_err(|error| {
            self.broke(&format!("{} is none: {error}: {}", what(), shown(&line)))
        })?;
        if answer.id != id {
            let why = format!("{} has the id {}", what(), answer.id);
            return Err(self.broke(&why));
        }
        match answer.failed {
            Some(why) => Err(RigError::Implementation {
                call: "case",
                why: with_words(&shown(why.as_bytes()), &self.pipes),
            }),
            None => Ok(answer),
        }
    }

    /// The error of a child that broke the protocol.
    pub(crate) fn broke(&mut self, why: &str) -> RigError {
        self.pipes.drain_errors();
        RigError::Protocol { why: with_words(why, &self.pipes) }
    }

    /// What it said on standard error.
    pub(crate) fn words(&self) -> Option<String> {
        self.pipes.said.text()
    }
}

/// A message with the end of its line.
fn line(message: &impl Serialize) -> Vec<u8> {
    let mut line = serde_json::to_vec(message).expect("messages hold nothing that JSON has not");
    line.push(b'\n');
    line
}

fn with_words(why: &str, pipes: &Pipes) -> String {
    match pipes.said.text() {
        Some(text) => format!("{why}; {text}"),
        None => why.to_owned(),
    }
}

fn seconds(time: Duration) -> f64 {
    time.as_millis() as f64 / 1_000.0
}

fn told(failed: &Failed, what: &str) -> String {
    match failed {
        Failed::Ended(status) => {
            format!("it ended instead of {what}: {}", Stop::of_status(*status))
        }
        Failed::Late(time) => format!("{what} had not come after {} s", seconds(*time)),
        Failed::Closed => format!("it closed its standard output instead of {what}, and lives"),
        Failed::TooLong { limit } => {
            format!(
                "{what} is longer than the {limit} bytes that it may have, or has no end of line"
            )
        }
        Failed::Early => format!("{what} came before it had read what it was asked"),
        Failed::System(error) => format!("{what} could not be read: {error}"),
    }
}
