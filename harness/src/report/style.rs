//! Stress in a text: none, or the codes of ECMA-48 8.3.117 (SGR) that terminals understand.

/// How a text stresses what matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Style {
    /// Letters alone.
    #[default]
    Plain,
    /// Bold, and red and green where right and wrong stand beside each other.
    Terminal,
}

impl Style {
    /// What the eye is to find first.
    #[must_use]
    pub fn strong(self, text: &str) -> String {
        self.coded("1", text)
    }

    /// What is wrong.
    #[must_use]
    pub fn wrong(self, text: &str) -> String {
        self.coded("31", text)
    }

    /// What is right.
    #[must_use]
    pub fn right(self, text: &str) -> String {
        self.coded("32", text)
    }

    fn coded(self, code: &str, text: &str) -> String {
        match self {
            Self::Terminal if !text.trim().is_empty() => format!("\x1b[{code}m{text}\x1b[0m"),
            _ => text.to_owned(),
        }
    }
}
