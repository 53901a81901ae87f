//! `worker`: the hidden verb by which the program starts itself again to run an implementation.

use crate::Exit;
use crate::arguments::Worker;
use crate::failure::Failure;
use crate::implementation::Subject;
use crate::registry::Registry;
use trackproof::campaign::MakeRigs;
use trackproof::isolate::{Refusal, serve};

/// Runs the verb.
pub(crate) fn worker(worker: &Worker, registry: &Registry) -> Result<Exit, Failure> {
    let mut subject = None;
    let served = serve(|| {
        let options = worker.options.as_deref();
        let opened = Subject::inside(&worker.implementation, options, None, registry)
            .map_err(|failure| Refusal { usage: failure.exit == Exit::Usage, why: failure.text })?;
        // Kept as long as what it makes.
        let opened = subject.insert(opened);
        opened.rig().map_err(|why| Refusal { usage: false, why })
    });
    served.map(|()| Exit::Conforms).map_err(|error| {
        Failure::usage(format!("worker: {error}; this verb is for trackproof itself"))
    })
}
