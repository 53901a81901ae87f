//! Finds the signals of a map in a recording's header, without keeping the header.

use crate::map::MappedLine;
use std::collections::HashSet;
use vcd::{IdCode, ReferenceIndex};

/// Deepest scopes: no design that anyone records is nested like that.
const MAX_DEPTH: usize = 64;
/// Most variables, of a whole chip with its memories.
const MAX_VARIABLES: u64 = 1 << 20;
/// Longest name, with its scopes.
const MAX_NAME_BYTES: usize = 4_096;
/// Names that are kept for the error of a signal that is not there.
const KEPT_NAMES: usize = 12;

/// Where a signal is found in value changes: the code, and which bit of its value, from the right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) code: IdCode,
    pub(crate) bit: usize,
}

/// The header as it goes by.
pub(crate) struct Signals<'a> {
    wanted: &'a [MappedLine],
    found: Vec<Option<(Place, String)>>,
    scopes: Vec<String>,
    variables: u64,
    some: Vec<String>,
    declared: HashSet<IdCode>,
}

impl<'a> Signals<'a> {
    pub(crate) fn of(wanted: &'a [MappedLine]) -> Self {
        Self {
            wanted,
            found: vec![None; wanted.len()],
            scopes: Vec::new(),
            variables: 0,
            some: Vec::new(),
            declared: HashSet::new(),
        }
    }

    pub(crate) fn enter(&mut self, scope: String) -> Result<(), String> {
        if self.scopes.len() == MAX_DEPTH {
            return Err(format!("scopes nested deeper than {MAX_DEPTH}, the limit"));
        }
        self.scopes.push(scope);
        self.bounded()
    }

    pub(crate) fn leave(&mut self) -> Result<(), String> {
        self.scopes.pop().map(|_| ()).ok_or_else(|| "an $upscope without its $scope".into())
    }

    fn bounded(&self) -> Result<(), String> {
        let bytes: usize = self.scopes.iter().map(|scope| scope.len() + 1).sum();
        if bytes > MAX_NAME_BYTES {
            return Err(format!("a path of scopes longer than {MAX_NAME_BYTES} bytes, the limit"));
        }
        Ok(())
    }

    /// Takes a variable.
    pub(crate) fn variable(
        &mut self,
        name: &str,
        index: Option<ReferenceIndex>,
        width: u32,
        code: IdCode,
    ) -> Result<(), String> {
        self.variables += 1;
        if self.variables > MAX_VARIABLES {
            return Err(format!(
                "more than {MAX_VARIABLES} variables, the limit; record the drive lines alone"
            ));
        }
        self.declared.insert(code);
        let (name, index) = split(name, index);
        let path: String = self.scopes.iter().map(|scope| format!("{scope}.")).collect();
        let full = format!("{path}{name}");
        if self.some.len() < KEPT_NAMES && full.len() < 100 {
            self.some.push(full.clone());
        }
        for (wanted, found) in self.wanted.iter().zip(&mut self.found) {
            let (signal, bit) = wanted_bit(&wanted.signal);
            let named = if signal.contains('.') { signal == full } else { signal == name };
            if !named {
                continue;
            }
            let Some(bit) = bit_of(index, width, bit)
                .map_err(|why| format!("the signal `{full}` for {}: {why}", wanted.line))?
            else {
                continue;
            };
            let place = Place { code, bit };
            match found {
                Some((before, path)) if *before != place => {
                    return Err(format!(
                        "the signal `{}` for {} is there twice, as `{path}` and `{full}`: give the \
                         whole path in the map",
                        wanted.signal, wanted.line
                    ));
                }
                _ => *found = Some((place, full.clone())),
            }
        }
        Ok(())
    }

    /// The places of all wanted signals, in the order of the map, and every code there is.
    ///
    /// # Errors
    /// Which is missing, and some that are there.
    pub(crate) fn found(self) -> Result<(Vec<Place>, HashSet<IdCode>), String> {
        let mut places = Vec::new();
        for (wanted, found) in self.wanted.iter().zip(self.found) {
            let Some((place, _)) = found else {
                let some = if self.some.is_empty() {
                    "it has none".to_owned()
                } else {
                    let more = self.variables - self.some.len() as u64;
                    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                    format!("it has {}{more}", self.some.join(", "))
                };
                return Err(format!(
                    "no signal `{}` for {} in the recording; {some}. Change the map",
                    wanted.signal, wanted.line
                ));
            };
            places.push(place);
        }
        Ok((places, self.declared))
    }
}

/// A name with its index: some write the two together, `bus[3:0]`.
fn split(name: &str, index: Option<ReferenceIndex>) -> (&str, Option<ReferenceIndex>) {
    if index.is_none()
        && let Some(at) = name.find('[')
        && let Ok(index) = name[at..].parse()
    {
        return (&name[..at], Some(index));
    }
    (name, index)
}

/// The name and the bit of `bus[3]` in a map.
fn wanted_bit(signal: &str) -> (&str, Option<i32>) {
    let bit = signal.strip_suffix(']').and_then(|signal| {
        let (name, bit) = signal.rsplit_once('[')?;
        Some((name, Some(bit.trim().parse().ok()?)))
    });
    bit.unwrap_or((signal, None))
}

/// Which bit of a value, from the right, is the wanted one; none if this variable has it not.
fn bit_of(
    index: Option<ReferenceIndex>,
    width: u32,
    wanted: Option<i32>,
) -> Result<Option<usize>, String> {
    match (index, wanted) {
        (None, None) if width == 1 => Ok(Some(0)),
        (Some(ReferenceIndex::BitSelect(_)), None) if width == 1 => Ok(Some(0)),
        (Some(ReferenceIndex::BitSelect(bit)), Some(wanted)) if width == 1 => {
            Ok((i64::from(bit) == i64::from(wanted)).then_some(0))
        }
        (Some(ReferenceIndex::Range(left, right)), Some(wanted)) => {
            let (left, right) = (i64::from(left), i64::from(right));
            let distance = (i64::from(wanted) - right) * if left >= right { 1 } else { -1 };
            if distance < 0 || distance > (left - right).abs() {
                return Err(format!("it has the bits {left} to {right}, not {wanted}"));
            }
            Ok(usize::try_from(distance).ok())
        }
        (None, Some(wanted)) if (0..i64::from(width)).contains(&i64::from(wanted)) => {
            Ok(usize::try_from(wanted).ok())
        }
        (_, Some(wanted)) => Err(format!("it has {width} bits, and none of number {wanted}")),
        (_, None) => Err(format!("it has {width} bits: say which one, as in `signal[0]`")),
    }
}

#[cfg(test)]
mod tests {
    use super::{bit_of, wanted_bit};
    use vcd::ReferenceIndex::{BitSelect, Range};

    #[test]
    fn bits_of_buses_are_found_from_either_end() {
        assert_eq!(bit_of(Some(Range(7, 0)), 8, Some(2)), Ok(Some(2)));
        assert_eq!(bit_of(Some(Range(0, 7)), 8, Some(2)), Ok(Some(5)));
        assert_eq!(bit_of(Some(Range(11, 4)), 8, Some(5)), Ok(Some(1)));
        assert_eq!(bit_of(Some(BitSelect(3)), 1, Some(3)), Ok(Some(0)));
        assert_eq!(bit_of(Some(BitSelect(4)), 1, Some(3)), Ok(None));
        assert_eq!(bit_of(None, 4, Some(3)), Ok(Some(3)));
        assert!(bit_of(None, 4, Some(4)).is_err());
        assert!(bit_of(Some(Range(7, 0)), 8, None).is_err());
    }

    #[test]
    fn a_map_names_a_bit_in_brackets() {
        assert_eq!(wanted_bit("top.bus[3]"), ("top.bus", Some(3)));
        assert_eq!(wanted_bit("top.bus"), ("top.bus", None));
        assert_eq!(wanted_bit("odd]"), ("odd]", None));
    }
}
