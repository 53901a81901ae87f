//! What ends a verb before its report: an exit code and one text that says what, where, and what
//! to do.

use crate::Exit;
use trackproof::campaign::CampaignError;
use trackproof::case_file::CaseFileError;
use trackproof::isolate::StartError;
use trackproof::known_file::KnownFileError;
use trackproof::profile_file::ProfileFileError;

/// The command's one error.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Failure {
    pub(crate) exit: Exit,
    pub(crate) text: String,
}

impl Failure {
    /// Usage, configuration, or an output that cannot be written.
    pub(crate) fn usage(text: impl ToString) -> Self {
        Self { exit: Exit::Usage, text: text.to_string() }
    }

    /// The adapter did not start or broke its protocol.
    pub(crate) fn adapter(text: impl ToString) -> Self {
        Self { exit: Exit::Adapter, text: text.to_string() }
    }
}

impl From<CaseFileError> for Failure {
    fn from(error: CaseFileError) -> Self {
        Self::usage(error)
    }
}

impl From<ProfileFileError> for Failure {
    fn from(error: ProfileFileError) -> Self {
        Self::usage(error)
    }
}

impl From<KnownFileError> for Failure {
    fn from(error: KnownFileError) -> Self {
        Self::usage(error)
    }
}

impl From<StartError> for Failure {
    fn from(error: StartError) -> Self {
        let exit = match error {
            StartError::Usage(_) => Exit::Usage,
            StartError::Start(_) => Exit::Adapter,
            StartError::Fault(_) => Exit::OurFault,
        };
        Self { exit, text: error.to_string() }
    }
}

impl From<CampaignError> for Failure {
    fn from(error: CampaignError) -> Self {
        if let CampaignError::Fault(why) = error {
            let text = format!("this is a fault of trackproof itself: a worker: {why}");
            return Self { exit: Exit::OurFault, text };
        }
        Self::adapter(format!("{error}; this says nothing about the controller"))
    }
}
