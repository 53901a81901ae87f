//! A child's hello: what it is, what it can do, checked.

use crate::limits::MAX_IN_FLIGHT;
use crate::message::PROTOCOL;
use crate::said::shown;
use serde::Deserialize;
use trackproof_contract::{Capabilities, Capability, Profile, Status};

/// Longest name: it stands in a line of a report.
const MAX_NAME_CHARS: usize = 64;

/// What a child is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Seam {
    /// Controller and drives together: a case goes in, an observation comes out.
    Controller,
    /// A [`WordReader`](trackproof_contract::WordReader); drives and host are lent to it.
    WordReader,
    /// A [`TrackEncoder`](trackproof_contract::TrackEncoder); all else is lent to it.
    TrackEncoder,
    /// A [`DataSeparator`](trackproof_contract::DataSeparator); flux is lent to it.
    DataSeparator,
}

/// What a child says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hello {
    /// Its name, for people.
    pub name: String,
    /// What it is.
    pub seam: Seam,
    /// What it can do, if it is a whole controller; else none.
    pub capabilities: Capabilities,
    /// The methods that it has, if it is a word reader.
    pub methods: Vec<String>,
    /// The status bits that it drives, if it is a word reader.
    pub status: Status,
    /// The profile that it has, if it cannot take any.
    pub profile: Option<Profile>,
    /// How many cases it may be sent ahead of its answers. This version sends one.
    pub max_in_flight: u32,
}

/// The methods of a word reader that a child may have.
pub(crate) const METHODS: [&str; 13] = [
    "shift_in",
    "request",
    "service",
    "set_hardware_sync",
    "source_changed",
    "set_sync_word",
    "index",
    "abort",
    "reset",
    "poll_status",
    "poll_byte",
    "done_signal",
    "match_signal",
];

#[derive(Deserialize)]
struct Version {
    protocol: Option<u32>,
}

/// As written. Fields that a newer child may have beside these are ignored.
#[derive(Deserialize)]
struct Written {
    name: String,
    offers: Seam,
    #[serde(default)]
    capabilities: Vec<String>,
    #[serde(default)]
    methods: Vec<String>,
    #[serde(default)]
    status: Vec<String>,
    profile: Option<Profile>,
    max_in_flight: u32,
}

impl Hello {
    /// Reads a child's first line.
    ///
    /// # Errors
    /// What is wrong with it: what is there, and what may be.
    pub(crate) fn read(line: &[u8]) -> Result<Self, String> {
        let json = |error| format!("its hello is none: {error}: {}", shown(line));
        let version: Version = serde_json::from_slice(line).map_err(json)?;
        if version.protocol != Some(PROTOCOL) {
            let has = version.protocol.map_or_else(|| "no".into(), |version| version.to_string());
            return Err(format!("its hello names {has} protocol; this version speaks {PROTOCOL}"));
        }
        let written: Written = serde_json::from_slice(line).map_err(json)?;
        if written.name.is_empty()
            || written.name.chars().count() > MAX_NAME_CHARS
            || written.name.chars().any(char::is_control)
        {
            return Err(format!(
                "its `name` is {}; it must be 1 to {MAX_NAME_CHARS} printable characters",
                shown(written.name.as_bytes())
            ));
        }
        if !(1..=MAX_IN_FLIGHT).contains(&written.max_in_flight) {
            return Err(format!(
                "its `max_in_flight` is {}, the limits are 1 and {MAX_IN_FLIGHT}",
                written.max_in_flight
            ));
        }
        if let Some(profile) = &written.profile {
            profile.validate().map_err(|error| format!("its `profile`: {error}"))?;
        }
        let (controller, reader) =
            (written.offers == Seam::Controller, written.offers == Seam::WordReader);
        for (field, list, may) in [
            ("capabilities", &written.capabilities, controller),
            ("methods", &written.methods, reader),
            ("status", &written.status, reader),
        ] {
            if !list.is_empty() && !may {
                return Err(format!("`{field}` is not for what it offers; leave it out"));
            }
        }
        let capabilities = names(
            "capabilities",
            &written.capabilities,
            |name| of_controllers().find(|one| one.name() == name),
            || of_controllers().map(|one| one.name()).collect(),
        )?;
        let status = names(
            "status",
            &written.status,
            |name| {
                let bit = Status::NAMES.iter().take(4).find(|(_, other)| *other == name);
                bit.map(|(bit, _)| *bit)
            },
            || Status::NAMES.iter().take(4).map(|(_, name)| *name).collect(),
        )?;
        names(
            "methods",
            &written.methods,
            |name| METHODS.contains(&name).then_some(()),
            || METHODS.to_vec(),
        )?;
        Ok(Self {
            name: written.name,
            seam: written.offers,
            capabilities: Capabilities::of(&capabilities),
            methods: written.methods,
            status: status.into_iter().fold(Status::default(), |all, bit| all.with(bit, true)),
            profile: written.profile,
            max_in_flight: written.max_in_flight,
        })
    }

    pub(crate) fn has(&self, method: &str) -> bool {
        self.methods.iter().any(|one| one == method)
    }
}

/// What a controller may be able to do. It is given no flux.
fn of_controllers() -> impl Iterator<Item = Capability> {
    Capability::ALL.iter().copied().filter(|one| *one != Capability::Separator)
}

/// What the names of a list stand for.
fn names<T>(
    field: &str,
    list: &[String],
    find: impl Fn(&str) -> Option<T>,
    all: impl Fn() -> Vec<&'static str>,
) -> Result<Vec<T>, String> {
    let unknown = |name: &String| {
        let name = shown(name.as_bytes());
        format!("its `{field}` has {name}, which there is not; there is {}", all().join(", "))
    };
    list.iter().map(|name| find(name).ok_or_else(|| unknown(name))).collect()
}

#[cfg(test)]
mod tests {
    use super::{Hello, Seam};
    use trackproof_contract::{Capability, Profile, Status};

    fn hello(fields: &str) -> Result<Hello, String> {
        let text = format!(r#"{{"protocol":1,"name":"mine","max_in_flight":1,{fields}}}"#);
        Hello::read(text.as_bytes())
    }

    #[test]
    fn a_hello_says_what_there_is() {
        let whole = hello(
            r#""offers":"controller","capabilities":["read","abort"],"profile":null,"new":[1]"#,
        )
        .unwrap();
        assert_eq!((whole.name.as_str(), whole.seam), ("mine", Seam::Controller));
        assert!(whole.capabilities.has(Capability::Abort));
        assert!(!whole.capabilities.has(Capability::Reset));
        let profile = serde_json::to_string(&Profile::byte_stream()).unwrap();
        let reader = hello(&format!(
            r#""offers":"word-reader","methods":["shift_in"],"status":["busy"],"profile":{profile}"#
        ))
        .unwrap();
        assert!(reader.has("shift_in") && !reader.has("request"));
        assert_eq!(reader.status, Status::BUSY);
        assert_eq!(reader.profile, Some(Profile::byte_stream()));
    }

    #[test]
    fn what_is_no_hello_is_refused_with_what_may_be_there() {
        for (fields, why) in [
            (r#""offers":"toaster""#, "toaster"),
            (r#""offers":"controller","capabilities":["fly"]"#, "there is read,"),
            (r#""offers":"word-reader","methods":["fly"]"#, "there is shift_in,"),
            (r#""offers":"word-reader","status":["index"]"#, "there is done, busy, error, match"),
            (r#""offers":"word-reader","capabilities":["read"]"#, "not for what it offers"),
            (r#""offers":"controller","profile":{"partial":"whole"}"#, "partial"),
        ] {
            let error = hello(fields).expect_err(fields);
            assert!(error.contains(why), "{fields}: {error}");
        }
        for (line, why) in [
            ("hello", "is none"),
            ("{}", "names no protocol"),
            (r#"{"protocol":2}"#, "names 2 protocol; this version speaks 1"),
            (r#"{"protocol":1,"name":"","offers":"controller","max_in_flight":1}"#, "`name`"),
            (r#"{"protocol":1,"name":"m","offers":"controller","max_in_flight":0}"#, "1 and 64"),
        ] {
            let error = Hello::read(line.as_bytes()).expect_err(line);
            assert!(error.contains(why), "{line}: {error}");
        }
    }
}
