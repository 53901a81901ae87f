//! The map: a TOML file that says which signal of a recording is which line, what it means, and
//! what the lines are held to.
//!
//! Reading is strict: a key that nobody knows is refused, for it would silently change nothing.

use crate::CaptureError;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use trackproof_contract::{DriveLine, LineLimits, Recording, RecordingSetup};

/// Largest map: some hundred lines with a page of remarks each.
pub const MAX_MAP_BYTES: u64 = 1 << 20;
/// Most lines of a map: a hundred buses.
const MAX_LINES: usize = 256;
/// Shortest and longest channel bit: a fiftieth of that at 1 Mbit/s, five hundred times that at 250
/// kbit/s. The same as a separator's.
const CHANNEL_BIT_NS: std::ops::RangeInclusive<u64> = 10..=1_000_000;
/// Slowest and fastest spindle, far outside what is made (300 to 600).
const TURNS_A_MINUTE: std::ops::RangeInclusive<u64> = 10..=100_000;
/// Longest limit of time: ten seconds, far more than any line needs.
const MAX_LIMIT_NS: u64 = 10_000_000_000;

/// Whether a line is asserted low or high.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Polarity {
    /// 0 means the line's name.
    Low,
    /// 1 means the line's name.
    High,
}

/// What is a flux transition on a line that carries them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FluxEdge {
    /// The leading edge of a pulse. Source: semantics of write data, and SFD-321B, 5.4.4, for read
    /// data.
    #[default]
    LeadingEdge,
    /// Every edge: the signal has been divided by two, or is a magnetisation.
    EachEdge,
}

/// A line and the signal that it is recorded as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MappedLine {
    /// The line.
    pub line: DriveLine,
    /// The signal: its name, or its path with points between the scopes; a bit of a bus as `bus[3]`.
    pub signal: String,
    /// Asserted low or high.
    pub active: Polarity,
    /// What a flux transition is; for lines that carry them.
    pub transition: FluxEdge,
}

/// A map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Map {
    /// The lines with their signals.
    pub lines: Vec<MappedLine>,
    /// The code of the data.
    pub code: Recording,
    /// The nominal channel bit, half a bit cell; 0 where no data line is mapped.
    pub channel_bit_ns: u64,
    /// The nominal time of a turn; 0 if it is not given.
    pub turn_ns: u64,
    /// Pulses shorter than this are taken out; 0 for none.
    pub glitch_ns: u64,
    /// What the lines are held to.
    pub limits: LineLimits,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    #[serde(default = "mfm")]
    code: toml::Spanned<String>,
    channel_bit_ns: Option<toml::Spanned<u64>>,
    cell_ns: Option<toml::Spanned<u64>>,
    turns_a_minute: Option<toml::Spanned<u64>>,
    glitch_ns: Option<toml::Spanned<u64>>,
    #[serde(default)]
    line: Vec<toml::Spanned<Line>>,
    limits: Option<toml::Spanned<LineLimits>>,
    host: Option<toml::Spanned<toml::Value>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    line: String,
    drive: Option<u8>,
    signal: String,
    active: Polarity,
    transition: Option<FluxEdge>,
}

fn mfm() -> toml::Spanned<String> {
    toml::Spanned::new(0..0, "mfm".into())
}

impl Map {
    /// Reads a map's file.
    ///
    /// # Errors
    /// Says where in the file, what is there, and what may be there.
    pub fn load(path: &Path) -> Result<Self, CaptureError> {
        let file = path.display().to_string();
        let unreadable = |why: String| CaptureError::Unreadable { file: file.clone(), why };
        let cannot = |error: std::io::Error| unreadable(format!("the map cannot be read: {error}"));
        let mut text = String::new();
        let opened = File::open(path).map_err(cannot)?;
        opened.take(MAX_MAP_BYTES + 1).read_to_string(&mut text).map_err(cannot)?;
        if text.len() as u64 > MAX_MAP_BYTES {
            let why = format!(
                "the map is larger than {MAX_MAP_BYTES} bytes, the limit; is it the recording?"
            );
            return Err(unreadable(why));
        }
        Self::parse(&text, &file)
    }

    /// Reads the text of a map; `file` is for the error's text.
    ///
    /// # Errors
    /// The first place that holds something else.
    pub fn parse(text: &str, file: &str) -> Result<Self, CaptureError> {
        let fail = |at: usize, why: String| {
            let line = text.get(..at).unwrap_or(text).matches('\n').count() as u64 + 1;
            CaptureError::Text { file: file.to_owned(), line, why }
        };
        let read: Text = toml::from_str(text).map_err(|error| {
            fail(error.span().map_or(0, |span| span.start), error.message().to_owned())
        })?;
        if let Some(host) = read.host {
            let why = "a recording with the host's words is not supported yet; take out `host`";
            return Err(fail(host.span().start, why.into()));
        }
        let code = match read.code.get_ref().as_str() {
            "mfm" => Recording::Mfm,
            "fm" => Recording::Fm,
            other => {
                let why = format!("the code `{other}`: give mfm or fm");
                return Err(fail(read.code.span().start, why));
            }
        };
        let lines = lines(read.line, &fail)?;
        let flux = lines.iter().find(|line| line.line.carries_flux());
        let channel_bit_ns =
            channel_bit_ns(read.channel_bit_ns, read.cell_ns, flux.map(|line| line.line), &fail)?;
        let turn_ns = match read.turns_a_minute {
            None => 0,
            Some(turns) => {
                let at = turns.span().start;
                let turns = within("turns_a_minute", turns.into_inner(), &TURNS_A_MINUTE)
                    .map_err(|why| fail(at, why))?;
                60_000_000_000 / turns
            }
        };
        let glitch_ns = match read.glitch_ns {
            None => 0,
            Some(glitch) => {
                let at = glitch.span().start;
                let most = if flux.is_some() { channel_bit_ns / 2 } else { 1_000_000 };
                within("glitch_ns", glitch.into_inner(), &(0..=most))
                    .map_err(|why| fail(at, why))?
            }
        };
        let limits = match read.limits {
            None => LineLimits::default(),
            Some(limits) => {
                let at = limits.span().start;
                let limits = limits.into_inner();
                check(&limits, turn_ns).map_err(|why| fail(at, why))?;
                limits
            }
        };
        Ok(Self { lines, code, channel_bit_ns, turn_ns, glitch_ns, limits })
    }

    /// What the judge has to know of the recording.
    #[must_use]
    pub fn setup(&self) -> RecordingSetup {
        RecordingSetup {
            lines: self.lines.iter().map(|mapped| mapped.line).collect(),
            recording: self.code,
            channel_bit_ns: self.channel_bit_ns,
            turn_ns: self.turn_ns,
            limits: self.limits.clone(),
        }
    }
}

type Fail<'a> = dyn Fn(usize, String) -> CaptureError + 'a;

fn lines(
    given: Vec<toml::Spanned<Line>>,
    fail: &Fail<'_>,
) -> Result<Vec<MappedLine>, CaptureError> {
    if given.is_empty() {
        let why = "the map has no [[line]]: give one for each signal that is a drive line";
        return Err(fail(0, why.into()));
    }
    if given.len() > MAX_LINES {
        return Err(fail(0, format!("{} lines: at most {MAX_LINES}", given.len())));
    }
    let mut mapped = Vec::new();
    let mut seen = BTreeSet::new();
    for spanned in given {
        let at = spanned.span().start;
        let Line { line: name, drive, signal, active, transition } = spanned.into_inner();
        let line = DriveLine::named(&name, drive.unwrap_or(0)).ok_or_else(|| {
            fail(at, format!("no line `{name}`; there is {}", DriveLine::NAMES.join(", ")))
        })?;
        if matches!(line, DriveLine::Select(_)) != drive.is_some() {
            let why = "`drive` goes with `select`, and only there: it says which drive is selected";
            return Err(fail(at, why.into()));
        }
        if transition.is_some() && !line.carries_flux() {
            let why = format!("`transition` goes with write-data and read-data, not with {line}");
            return Err(fail(at, why));
        }
        if signal.trim().is_empty() {
            return Err(fail(at, format!("{line} has an empty `signal`: give its name")));
        }
        if !seen.insert(line) {
            return Err(fail(at, format!("{line} is there twice")));
        }
        mapped.push(MappedLine {
            line,
            signal,
            active,
            transition: transition.unwrap_or_default(),
        });
    }
    Ok(mapped)
}

fn channel_bit_ns(
    channel_bit: Option<toml::Spanned<u64>>,
    cell: Option<toml::Spanned<u64>>,
    flux: Option<DriveLine>,
    fail: &Fail<'_>,
) -> Result<u64, CaptureError> {
    match (channel_bit, cell) {
        (Some(_), Some(cell)) => {
            let why = "both cell_ns and channel_bit_ns: give one of them; a cell is 2 channel bits";
            Err(fail(cell.span().start, why.into()))
        }
        (Some(bit), None) => {
            let at = bit.span().start;
            within("channel_bit_ns", bit.into_inner(), &CHANNEL_BIT_NS).map_err(|why| fail(at, why))
        }
        (None, Some(cell)) => {
            let at = cell.span().start;
            let range = 2 * CHANNEL_BIT_NS.start()..=2 * CHANNEL_BIT_NS.end();
            let cell = within("cell_ns", cell.into_inner(), &range).map_err(|why| fail(at, why))?;
            Ok(cell / 2)
        }
        (None, None) => match flux {
            None => Ok(0),
            Some(line) => Err(fail(
                0,
                format!("{line} needs cell_ns, the nominal bit cell: 4000 at 250 kbit/s"),
            )),
        },
    }
}

fn within(key: &str, value: u64, range: &std::ops::RangeInclusive<u64>) -> Result<u64, String> {
    if range.contains(&value) {
        return Ok(value);
    }
    Err(format!("{key} is {value}: give {} to {}", range.start(), range.end()))
}

/// Whether the limits are any.
fn check(limits: &LineLimits, turn_ns: u64) -> Result<(), String> {
    within("spacing_percent", limits.spacing_percent, &(1..=49))?;
    within("index_permille", limits.index_permille, &(0..=500))?;
    for (key, ns) in [
        ("select_to_gate_ns", limits.select_to_gate_ns),
        ("side_to_gate_ns", limits.side_to_gate_ns),
        ("overlap_ns", limits.overlap_ns),
        ("erase_hold_ns", limits.erase_hold_ns),
        ("step_pulse_min_ns", limits.step_pulse_min_ns),
        ("step_pulse_max_ns", limits.step_pulse_max_ns),
        ("step_interval_ns", limits.step_interval_ns),
        ("direction_setup_ns", limits.direction_setup_ns),
        ("direction_hold_ns", limits.direction_hold_ns),
        ("direction_reversal_ns", limits.direction_reversal_ns),
    ] {
        within(key, ns, &(0..=MAX_LIMIT_NS))?;
    }
    if limits.index_permille > 0 && turn_ns == 0 {
        return Err("index_permille needs turns_a_minute, the nominal speed".into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{FluxEdge, Map, Polarity};
    use trackproof_contract::{DriveLine, Recording};

    const GATE: &str = "[[line]]\nline = 'write-gate'\nsignal = 'gate'\nactive = 'low'\n";
    const DATA: &str = "[[line]]\nline = 'write-data'\nsignal = 'data'\nactive = 'high'\n";

    #[test]
    fn a_map_is_read_with_its_defaults() {
        let map = Map::parse(&format!("cell_ns = 4000\n{GATE}{DATA}"), "m.toml").unwrap();
        assert_eq!((map.code, map.channel_bit_ns), (Recording::Mfm, 2_000));
        assert_eq!((map.turn_ns, map.glitch_ns), (0, 0));
        assert_eq!(map.lines[0].active, Polarity::Low);
        assert_eq!(map.lines[1].line, DriveLine::WriteData);
        assert_eq!(map.lines[1].transition, FluxEdge::LeadingEdge);
        assert_eq!(map.setup().limits.step_interval_ns, 3_000_000);
    }

    #[test]
    fn limits_are_taken_one_by_one() {
        let text = format!(
            "turns_a_minute = 300\n{GATE}[limits]\nstep_interval_ns = 15_000_000\n\
             selects = 'independent'\nindex_permille = 15\n"
        );
        let map = Map::parse(&text, "m.toml").unwrap();
        assert_eq!(map.turn_ns, 200_000_000);
        assert_eq!(map.limits.step_interval_ns, 15_000_000);
        assert_eq!(map.limits.step_pulse_min_ns, 1_000);
    }

    #[test]
    fn what_a_map_cannot_be_is_told_with_its_line() {
        for (text, line, says) in [
            ("", 1, "no [[line]]"),
            ("colour = 1", 1, "unknown field `colour`"),
            (&format!("{GATE}{GATE}"), 5, "write-gate is there twice"),
            (&format!("\ncode = 'gcr'\n{GATE}"), 2, "give mfm or fm"),
            (DATA, 1, "write-data needs cell_ns"),
            (&format!("cell_ns = 1\n{DATA}"), 1, "give 20 to 2000000"),
            (&format!("channel_bit_ns = 0\n{DATA}"), 1, "give 10 to 1000000"),
            (&format!("channel_bit_ns = 9\ncell_ns = 9\n{DATA}"), 2, "give one of them"),
            (&format!("glitch_ns = 2000\ncell_ns = 4000\n{DATA}"), 1, "give 0 to 1000"),
            (&format!("turns_a_minute = 0\n{GATE}"), 1, "give 10 to 100000"),
            (&GATE.replace("write-gate", "gate"), 1, "there is select, motor-on"),
            (&GATE.replace("write-gate", "select"), 1, "`drive` goes with `select`"),
            (&GATE.replace("low", "weak"), 4, "unknown variant `weak`"),
            (&GATE.replace("'gate'", "' '"), 1, "empty `signal`"),
            (&format!("{GATE}transition = 'each-edge'\n"), 1, "not with write-gate"),
            (&format!("{GATE}[limits]\nspacing_percent = 50\n"), 5, "give 1 to 49"),
            (&format!("{GATE}[limits]\nindex_permille = 5\n"), 5, "needs turns_a_minute"),
            (&format!("{GATE}[limits]\nsmell = 1\n"), 6, "unknown field `smell`"),
            (&format!("{GATE}[host]\nstrobe = 'a'\n"), 5, "not supported yet"),
        ] {
            let told = Map::parse(text, "m.toml").expect_err(text).to_string();
            assert!(told.starts_with(&format!("m.toml:{line}: ")), "{text}: {told}");
            assert!(told.contains(says), "{text}: {told}");
        }
    }
}
