//! The link to an implementation that is a child: a child that has ended is started anew.

use crate::child::Child;
use crate::encoder::ChildEncoder;
use crate::error::StartError;
use crate::hello::{Hello, Seam};
use crate::limits::Limits;
use crate::message::Answer;
use crate::reader::ChildReader;
use crate::rig::ProcessRig;
use crate::separator::ChildSeparator;
use serde::Serialize;
use trackproof_contract::RigError;

/// How to start children of one implementation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Process {
    words: Vec<String>,
    limits: Limits,
}

/// What a child is.
#[derive(Debug)]
pub enum Offer {
    /// A whole controller.
    Controller(Box<ProcessRig>),
    /// A word reader, to be lent drives and host.
    WordReader(ChildReader),
    /// A track encoder, to be lent all else.
    TrackEncoder(ChildEncoder),
    /// A data separator, to be lent flux.
    DataSeparator(ChildSeparator),
}

impl Process {
    /// The children of a command line, which is split into words as the POSIX shell does; no shell
    /// is started, so there are no variables, no patterns and no pipes.
    ///
    /// ```
    /// # use trackproof_process::{Limits, Process};
    /// assert!(Process::new("python3 'my controller.py' --fault x", Limits::default()).is_ok());
    /// assert!(Process::new("python3 'controller.py", Limits::default()).is_err());
    /// ```
    ///
    /// # Errors
    /// [`StartError::Command`] when it has no word, or a quote has no end.
    pub fn new(command_line: &str, limits: Limits) -> Result<Self, StartError> {
        let none = |why: &str| StartError::Command { why: format!("`{command_line}`: {why}") };
        let words = shlex::split(command_line)
            .ok_or_else(|| none("a quote or a backslash has no end; write it as for a shell"))?;
        if words.first().is_none_or(String::is_empty) {
            return Err(none("no command; name a program with its arguments"));
        }
        Ok(Self { words, limits })
    }

    /// Starts a child, to see what it is.
    ///
    /// # Errors
    /// When it does not start, or says nothing that makes sense.
    pub fn start(&self) -> Result<Offer, StartError> {
        let child = Child::start(&self.words, &self.limits)?;
        let hello = child.hello.clone();
        let link = Link { process: self.clone(), child: Some(child), hello, last_words: None };
        Ok(match link.hello.seam {
            Seam::Controller => Offer::Controller(Box::new(ProcessRig::new(link))),
            Seam::WordReader => Offer::WordReader(ChildReader::new(link)),
            Seam::TrackEncoder => Offer::TrackEncoder(ChildEncoder::new(link)),
            Seam::DataSeparator => Offer::DataSeparator(ChildSeparator::new(link)),
        })
    }
}

/// A child, or the means to have another one.
#[derive(Debug)]
pub(crate) struct Link {
    process: Process,
    child: Option<Child>,
    pub(crate) hello: Hello,
    last_words: Option<String>,
}

impl Link {
    /// Asks the child, or a new one if the last one has ended.
    pub(crate) fn ask<M: Serialize>(
        &mut self,
        message: impl FnOnce(u64) -> M,
        limit: usize,
    ) -> Result<Answer, RigError> {
        let child = match &mut self.child {
            Some(child) => child,
            empty => {
                let started = Child::start(&self.process.words, &self.process.limits);
                let child = started.map_err(|error| RigError::Protocol {
                    why: format!("started anew, {error}"),
                })?;
                if child.hello != self.hello {
                    return Err(RigError::Protocol {
                        why: "started anew, it says another hello than before".into(),
                    });
                }
                empty.insert(child)
            }
        };
        let asked = child.ask(message, limit, self.process.limits.case);
        match asked {
            // It has said that it cannot, and is ready for the next case.
            Ok(_) | Err(RigError::Implementation { .. }) => {}
            Err(_) => {
                self.last_words = child.words();
                self.child = None;
            }
        }
        asked
    }

    /// What is wrong with an answer; the child that gave it is ended.
    pub(crate) fn broke(&mut self, why: &str) -> RigError {
        match self.child.take() {
            Some(mut child) => child.broke(why),
            None => RigError::Protocol { why: why.into() },
        }
    }

    pub(crate) fn take_last_words(&mut self) -> Option<String> {
        self.last_words.take()
    }

    /// The next case gets a new child.
    pub(crate) fn reset(&mut self) {
        self.child = None;
    }
}
