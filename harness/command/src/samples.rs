//! `samples`: the samples that this program brings, with their faults.

use crate::Exit;
use crate::arguments::{Format, Samples};
use crate::failure::Failure;
use crate::output;
use serde::Serialize;
use std::collections::BTreeMap;

/// A sample in the JSON list.
#[derive(Debug, Serialize)]
struct Sample {
    name: &'static str,
    profile: &'static str,
    faults: Vec<Fault>,
}

/// A fault in the JSON list.
#[derive(Debug, Serialize)]
struct Fault {
    name: String,
    rules: Vec<String>,
    masks: Vec<String>,
    sentence: String,
    /// Keys of the profile without which it does not show.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    under: BTreeMap<String, String>,
}

/// Runs the verb.
pub(crate) fn samples(samples: &Samples) -> Result<Exit, Failure> {
    let list = list();
    match samples.format.is {
        Format::Json => output::print_json(&list)?,
        Format::Human => output::print(&text(&list))?,
    }
    Ok(Exit::Conforms)
}

fn text(list: &[Sample]) -> String {
    if list.is_empty() {
        return "this program was built without the samples; build it with the feature \
                `samples`\n"
            .into();
    }
    let style = output::style();
    let mut text = String::new();
    for sample in list {
        let name = style.strong(&format!("sample:{}", sample.name));
        let correct = if sample.faults.is_empty() { ", correct only" } else { "" };
        text.push_str(&format!("{name}  for profile {}{correct}\n", sample.profile));
        for fault in &sample.faults {
            text.push_str(&format!("  +{:<28}{}", fault.name, fault.sentence));
            let keys = fault.under.iter().map(|(key, value)| format!("{key} = {value}"));
            let keys = keys.collect::<Vec<_>>().join(", ");
            text.push_str(&if keys.is_empty() {
                "\n".into()
            } else {
                format!(" (Under {keys}.)\n")
            });
        }
    }
    text
}

#[cfg(feature = "samples")]
fn list() -> Vec<Sample> {
    let fault = |fault: &trackproof_samples::Fault| Fault {
        name: fault.name.clone(),
        rules: fault.rules.clone(),
        masks: fault.masks.clone(),
        sentence: fault.sentence.clone(),
        under: fault.under.clone(),
    };
    trackproof_samples::samples()
        .iter()
        .map(|sample| Sample {
            name: sample.name,
            profile: sample.profile,
            faults: sample.faults.iter().map(fault).collect(),
        })
        .collect()
}

#[cfg(not(feature = "samples"))]
fn list() -> Vec<Sample> {
    Vec::new()
}
