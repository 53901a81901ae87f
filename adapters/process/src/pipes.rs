//! A child's three pipes, served at once: a line goes in, a line comes out, standard error is kept.
//!
//! One loop waits for all of them, so a child that does not read while it writes, or fills its
//! standard error, blocks nobody, and every wait has its time.

use crate::group::{Group, Streams};
use crate::said::Said;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io::{self, ErrorKind, Read, Write};
use std::process::{ChildStderr, ChildStdin, ChildStdout, ExitStatus};
use std::time::{Duration, Instant};

/// How often a child is looked at that says nothing: it may have ended and left its output open.
const LOOK: Duration = Duration::from_millis(20);

/// Time for a child's end to become known once its output has ended.
const DYING: Duration = Duration::from_secs(2);

/// Most that is read at once.
const CHUNK: usize = 64 << 10;

/// Most of a dead child's standard error that is still read.
const MAX_LEFT: usize = 1 << 20;

/// Why no line came back.
#[derive(Debug)]
pub(crate) enum Failed {
    /// The child has ended.
    Ended(ExitStatus),
    /// It has not answered in time.
    Late(Duration),
    /// It has closed its output and lives.
    Closed,
    /// Its line is longer than it may be.
    TooLong { limit: usize },
    /// It answered before it had read what it was asked.
    Early,
    /// The system refused.
    System(io::Error),
}

/// The pipes.
#[derive(Debug)]
pub(crate) struct Pipes {
    /// None once the child has closed it.
    input: Option<ChildStdin>,
    output: ChildStdout,
    /// None once the child has closed it.
    errors: Option<ChildStderr>,
    /// What came behind the last line.
    pending: Vec<u8>,
    chunk: Vec<u8>,
    pub(crate) said: Said,
}

impl Pipes {
    pub(crate) fn new((input, output, errors): Streams) -> io::Result<Self> {
        rustix::io::ioctl_fionbio(&input, true)?;
        rustix::io::ioctl_fionbio(&output, true)?;
        rustix::io::ioctl_fionbio(&errors, true)?;
        Ok(Self {
            input: Some(input),
            output,
            errors: Some(errors),
            pending: Vec::new(),
            chunk: vec![0; CHUNK],
            said: Said::default(),
        })
    }

    /// Sends a line and waits for one of at most `limit` bytes, which comes back without its end.
    pub(crate) fn exchange(
        &mut self,
        group: &mut Group,
        line: &[u8],
        limit: usize,
        time: Option<Duration>,
    ) -> Result<Vec<u8>, Failed> {
        let begun = Instant::now();
        let (mut sent, mut searched) = (0, 0);
        loop {
            if let Some(answer) = self.take_line(searched) {
                let whole = sent == line.len() || self.input.is_none();
                return if whole { Ok(answer) } else { Err(Failed::Early) };
            }
            searched = self.pending.len();
            if searched > limit {
                return Err(Failed::TooLong { limit });
            }
            let wait = match time {
                Some(time) => match time.checked_sub(begun.elapsed()) {
                    Some(left) => left.min(LOOK),
                    None => return Err(group.status().map_or(Failed::Late(time), Failed::Ended)),
                },
                None => LOOK,
            };
            let ready = self.wait(sent < line.len(), wait).map_err(Failed::System)?;
            if ready == Ready::default()
                && let Some(status) = group.status()
            {
                // What it wrote before it ended has come by now.
                self.drain_errors();
                return Err(Failed::Ended(status));
            }
            if ready.errors {
                self.read_errors();
            }
            if ready.input {
                sent += self.write(&line[sent..]).map_err(Failed::System)?;
            }
            if ready.output && self.read_output().map_err(Failed::System)? {
                let status = group.wait(DYING);
                self.drain_errors();
                return Err(status.map_or(Failed::Closed, Failed::Ended));
            }
        }
    }

    /// The first whole line, if there is one behind what was searched already.
    fn take_line(&mut self, searched: usize) -> Option<Vec<u8>> {
        let end = searched + self.pending[searched..].iter().position(|byte| *byte == b'\n')?;
        let rest = self.pending.split_off(end + 1);
        let mut line = std::mem::replace(&mut self.pending, rest);
        line.pop();
        Some(line)
    }

    fn wait(&self, to_send: bool, time: Duration) -> io::Result<Ready> {
        let mut polled = vec![PollFd::new(&self.output, PollFlags::IN)];
        let errors = self.errors.as_ref().map(|errors| {
            polled.push(PollFd::new(errors, PollFlags::IN));
            polled.len() - 1
        });
        let input = self.input.as_ref().filter(|_| to_send).map(|input| {
            polled.push(PollFd::new(input, PollFlags::OUT));
            polled.len() - 1
        });
        let time = Timespec::try_from(time).ok();
        match poll(&mut polled, time.as_ref()) {
            // Somebody asked this process to end; whoever waits looks at that.
            Err(rustix::io::Errno::INTR) => return Ok(Ready { again: true, ..Ready::default() }),
            other => other?,
        };
        let is = |at: Option<usize>| at.is_some_and(|at| !polled[at].revents().is_empty());
        Ok(Ready { output: is(Some(0)), errors: is(errors), input: is(input), again: false })
    }

    /// Writes what the pipe takes; all of it, into nothing, where the child reads no more.
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Some(input) = &mut self.input else { return Ok(bytes.len()) };
        match input.write(bytes) {
            Ok(count) => Ok(count),
            Err(error) if error.kind() == ErrorKind::BrokenPipe => {
                self.input = None;
                Ok(bytes.len())
            }
            Err(error) if is_for_later(&error) => Ok(0),
            Err(error) => Err(error),
        }
    }

    /// Reads output; whether it has ended.
    fn read_output(&mut self) -> io::Result<bool> {
        match self.output.read(&mut self.chunk) {
            Ok(0) => Ok(true),
            Ok(count) => {
                self.pending.extend_from_slice(&self.chunk[..count]);
                Ok(false)
            }
            Err(error) if is_for_later(&error) => Ok(false),
            Err(error) => Err(error),
        }
    }

    /// Reads standard error; how much came.
    fn read_errors(&mut self) -> usize {
        let Some(errors) = &mut self.errors else { return 0 };
        match errors.read(&mut self.chunk) {
            Ok(count) if count > 0 => {
                self.said.take(&self.chunk[..count]);
                count
            }
            Err(error) if is_for_later(&error) => 0,
            _ => {
                self.errors = None;
                0
            }
        }
    }

    /// Reads what is left of standard error, as far as it has come.
    pub(crate) fn drain_errors(&mut self) {
        let mut left = 0;
        while left < MAX_LEFT {
            match self.read_errors() {
                0 => return,
                count => left += count,
            }
        }
    }
}

/// What can be served without waiting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Ready {
    output: bool,
    errors: bool,
    input: bool,
    again: bool,
}

fn is_for_later(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted)
}
