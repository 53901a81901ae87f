//! `margin`: how far a data separator goes beyond what it is judged by.

use crate::Exit;
use crate::arguments::{Format, Margin};
use crate::failure::Failure;
use crate::implementation::Subject;
use crate::interrupt;
use crate::output;
use crate::profile;
use crate::progress::Progress;
use crate::registry::Registry;
use trackproof::margin::{Question, margins};
use trackproof::report::{self, MarginReport};

/// Runs the verb.
pub(crate) fn margin(given: &Margin, registry: &Registry) -> Result<Exit, Failure> {
    let subject = Subject::open(&given.implementation, registry, &given.isolation)?;
    let (name, profile) = profile::choose(given.profile.as_deref(), &subject)?;
    let question =
        Question { profile, seed: given.run.seed, trials: given.trials, jobs: given.run.jobs() };
    interrupt::flag();
    let progress = Progress::new(None);
    progress.stage("margin".to_owned());
    let measured = margins(&question, &subject, &interrupt::is_set);
    progress.clear();
    let Some(measured) = measured? else {
        return Err(Failure {
            exit: Exit::NothingJudged,
            text: format!(
                "{} is no data separator (it has no capability `separator`); margins are measured of \
                 those alone",
                given.implementation
            ),
        });
    };
    let told = MarginReport {
        implementation: &given.implementation.to_string(),
        profile: &name,
        seed: given.run.seed,
        trials: given.trials,
        margins: &measured,
    };
    match given.format.is {
        Format::Json => output::print_json(&report::margins_json(&told))?,
        Format::Human => output::print(&report::margins(&told, output::style()))?,
    }
    Ok(interrupt::exit().unwrap_or(Exit::Conforms))
}
