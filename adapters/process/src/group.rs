//! A process group: the child, whatever it starts, and a guard.
//!
//! The guard leads the group. While it has not been waited for, the group's number is nobody
//! else's, so the group can be ended even when the child itself has gone; and when this process is
//! killed, the guard's input ends, and it ends the group.

use rustix::process::{Pid, Signal, kill_process_group};
use std::io;
use std::os::unix::process::CommandExt;
use std::process::{Child, ChildStderr, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// Waits for the end of its input, which is this process's end, asks the group to end and kills it
/// a second later. It outlives the asking itself.
const GUARD: &str = "trap '' TERM HUP INT; read -r _; kill -TERM 0; sleep 1; kill -KILL 0";

/// How often a child that is to end is looked at.
const LOOK: Duration = Duration::from_millis(1);

/// A child with its group. It goes with this value.
#[derive(Debug)]
pub(crate) struct Group {
    child: Child,
    status: Option<ExitStatus>,
    guard: Child,
    end: Duration,
}

/// The child's streams.
pub(crate) type Streams = (ChildStdin, ChildStdout, ChildStderr);

impl Group {
    /// Starts a command; `end` is how long it may take to end when it is asked to.
    pub(crate) fn start(words: &[String], end: Duration) -> io::Result<(Self, Streams)> {
        let guard = Command::new("/bin/sh")
            .args(["-c", GUARD])
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()?;
        let child = Command::new(&words[0])
            .args(&words[1..])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(Pid::from_child(&guard).as_raw_pid())
            .spawn();
        let mut child = match child {
            Ok(child) => child,
            Err(error) => {
                end_guard(guard);
                return Err(error);
            }
        };
        let streams = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        let group = Self { child, status: None, guard, end };
        match streams {
            (Some(input), Some(output), Some(errors)) => Ok((group, (input, output, errors))),
            _ => Err(io::Error::other("the system gave no pipes")),
        }
    }

    /// How the child has ended, if it has.
    pub(crate) fn status(&mut self) -> Option<ExitStatus> {
        if self.status.is_none() {
            self.status = self.child.try_wait().ok().flatten();
        }
        self.status
    }

    /// Waits for the child's own end.
    pub(crate) fn wait(&mut self, time: Duration) -> Option<ExitStatus> {
        let since = Instant::now();
        loop {
            let status = self.status();
            if status.is_some() || since.elapsed() >= time {
                return status;
            }
            std::thread::sleep(LOOK);
        }
    }

    /// Asks the whole group to end.
    pub(crate) fn terminate(&self) {
        let _ = kill_process_group(Pid::from_child(&self.guard), Signal::TERM);
    }
}

impl Drop for Group {
    /// Whoever drops it has closed the child's input, so a child that reads it ends by itself. Then
    /// the group is asked, then it is killed.
    fn drop(&mut self) {
        if self.wait(self.end).is_none() {
            self.terminate();
            self.wait(self.end);
        }
        let _ = kill_process_group(Pid::from_child(&self.guard), Signal::KILL);
        let _ = self.child.wait();
        let _ = self.guard.wait();
    }
}

fn end_guard(mut guard: Child) {
    let _ = guard.kill();
    let _ = guard.wait();
}
