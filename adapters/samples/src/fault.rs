//! The faults of the samples, as `faults.toml` beside this crate tells them.

use serde::Deserialize;
use std::collections::BTreeMap;

/// One fault that a sample can be made with.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Its name, in kebab-case: the sample's option.
    pub name: String,
    /// The sample that has it.
    pub sample: String,
    /// What a user would see.
    pub sentence: String,
    /// The rules that may name it, two at most.
    pub rules: Vec<String>,
    /// Other rules that it cannot help breaking.
    pub consequences: Vec<String>,
    /// Faults that nobody sees while this one is on.
    pub masks: Vec<String>,
    /// Keys of the sample's profile, and their values, without which nobody sees it.
    #[serde(default)]
    pub under: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    fault: Vec<Fault>,
}

/// The faults of one sample, in the file's order.
pub(crate) fn of(sample: &str) -> Vec<Fault> {
    all().into_iter().filter(|fault| fault.sample == sample).collect()
}

fn all() -> Vec<Fault> {
    toml::from_str::<List>(include_str!("../faults.toml"))
        .expect("faults.toml is embedded, and a test reads it")
        .fault
}

#[cfg(test)]
mod tests {
    use super::all;
    use crate::find;
    use std::collections::BTreeSet;

    #[test]
    fn the_list_of_faults_is_well_formed() {
        let faults = all();
        let mut names = BTreeSet::new();
        for fault in &faults {
            let name = &fault.name;
            assert!(names.insert((&fault.sample, name)), "{name} twice");
            assert!(
                name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-'),
                "{name} is no kebab-case"
            );
            assert!(find(&fault.sample).is_ok(), "{name} is of no sample");
            assert!(fault.sentence.ends_with('.'), "{name}: no sentence");
            assert!((1..=2).contains(&fault.rules.len()), "{name}: {:?}", fault.rules);
            let rules: BTreeSet<_> = fault.rules.iter().chain(&fault.consequences).collect();
            assert_eq!(rules.len(), fault.rules.len() + fault.consequences.len(), "{name}");
        }
        for fault in &faults {
            for masked in &fault.masks {
                assert!(names.contains(&(&fault.sample, masked)), "{}: {masked}", fault.name);
                assert_ne!(masked, &fault.name);
            }
        }
    }
}
