//! Draws: what one case is made from, as a value that can be sent, kept and made again.

use super::{ByteChoices, Generator, RecordedChoices, SeededChoices, case_seed};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use trackproof_contract::Case;

/// What a case is made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Draw {
    /// The case of that index of a run.
    Number(u64),
    /// The case that these bytes, as choices, lead to; in JSON two hexadecimal digits each.
    Stream(#[serde(serialize_with = "to_hex", deserialize_with = "from_hex")] Vec<u8>),
}

impl Generator {
    /// Makes the case of a draw; the run's seed matters for numbers alone.
    pub fn make(&mut self, run_seed: u64, draw: &Draw, case: &mut Case) {
        match draw {
            Draw::Number(index) => {
                self.generate(&mut SeededChoices::new(case_seed(run_seed, *index)), case);
            }
            Draw::Stream(bytes) => self.generate(&mut ByteChoices::new(bytes), case),
        }
    }

    /// The bytes that lead to the same case as a draw. `case` is overwritten.
    pub fn stream(&mut self, run_seed: u64, draw: &Draw, case: &mut Case) -> Vec<u8> {
        match draw {
            Draw::Number(index) => {
                let mut choices = RecordedChoices::new(case_seed(run_seed, *index));
                self.generate(&mut choices, case);
                choices.into_bytes()
            }
            Draw::Stream(bytes) => bytes.clone(),
        }
    }
}

const DIGITS: &[u8; 16] = b"0123456789abcdef";

fn to_hex<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    let digits = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    let text: String = digits.map(|digit| char::from(DIGITS[usize::from(digit)])).collect();
    serializer.serialize_str(&text)
}

fn from_hex<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<u8>, D::Error> {
    use serde::de::Error;
    let text = String::deserialize(deserializer)?;
    let digit = |byte: u8| char::from(byte).to_digit(16).map(|digit| digit as u8);
    let (pairs, rest) = text.as_bytes().as_chunks::<2>();
    let bytes = pairs.iter().map(|[high, low]| Some(digit(*high)? << 4 | digit(*low)?)).collect();
    match bytes {
        Some(bytes) if rest.is_empty() => Ok(bytes),
        _ => Err(D::Error::custom("a stream is pairs of hexadecimal digits")),
    }
}

#[cfg(test)]
mod tests {
    use super::Draw;
    use crate::generate::Generator;
    use trackproof_contract::Profile;

    #[test]
    fn a_draw_crosses_as_text_and_makes_the_same_case() {
        let mut generator = Generator::new(Profile::sync_dma());
        let (mut first, mut again) = (generator.case(0, 0), generator.case(0, 0));
        for index in 0..100 {
            let number = Draw::Number(index);
            let stream = Draw::Stream(generator.stream(4, &number, &mut first));
            let text = serde_json::to_string(&stream).unwrap();
            let back: Draw = serde_json::from_str(&text).unwrap();
            assert_eq!(back, stream);
            generator.make(99, &back, &mut again);
            generator.make(4, &number, &mut first);
            assert_eq!(again, first, "case {index}");
        }
        for wrong in [r#"{"stream":"0"}"#, r#"{"stream":"0g"}"#, r#"{"stream":7}"#] {
            assert!(serde_json::from_str::<Draw>(wrong).is_err(), "{wrong}");
        }
    }
}
