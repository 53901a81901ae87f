//! Exit codes: the one table of what they mean and which of several wins.

/// How a run ended. A code says what happened, never how often.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Exit {
    /// 0.
    Conforms,
    /// 1.
    Deviates,
    /// 2.
    Usage,
    /// 3.
    Inconclusive,
    /// 4.
    NothingJudged,
    /// 5.
    KnownGone,
    /// 6.
    NotReproducible,
    /// 7.
    Adapter,
    /// 70.
    OurFault,
    /// 129: 128 and the number of the signal, 1.
    HungUp,
    /// 130: 128 and the number of the signal, 2.
    Interrupted,
    /// 143: 128 and the number of the signal, 15.
    Terminated,
}

/// A row: the end, its code, its meaning. Of several at once the first of the table wins.
const TABLE: [(Exit, u8, &str); 12] = [
    (Exit::OurFault, 70, "a fault of trackproof itself"),
    (Exit::Interrupted, 130, "interrupted; the report tells of what was done until then"),
    (Exit::Terminated, 143, "asked to end by SIGTERM; a partial report as with 130"),
    (Exit::HungUp, 129, "its terminal has gone, SIGHUP; a partial report as with 130"),
    (Exit::Adapter, 7, "the adapter did not start or broke its protocol"),
    (Exit::Usage, 2, "usage or configuration, or an output that cannot be written"),
    (Exit::Deviates, 1, "the implementation deviates"),
    (Exit::NotReproducible, 6, "a deviation was not shown again"),
    (Exit::KnownGone, 5, "a known deviation no longer occurs"),
    (Exit::Inconclusive, 3, "too little could be judged"),
    (Exit::NothingJudged, 4, "nothing was judged"),
    (Exit::Conforms, 0, "nothing that was judged deviates"),
];

impl Exit {
    /// The process's exit code.
    #[must_use]
    pub fn code(self) -> u8 {
        self.row().1
    }

    /// What the code means.
    #[must_use]
    pub fn meaning(self) -> &'static str {
        self.row().2
    }

    /// The verdict in a word, as in the JSON report.
    #[must_use]
    pub const fn verdict(self) -> &'static str {
        match self {
            Self::Conforms => "conforms",
            Self::Deviates => "deviates",
            Self::Usage => "usage",
            Self::Inconclusive => "inconclusive",
            Self::NothingJudged => "nothing-judged",
            Self::KnownGone => "known-gone",
            Self::NotReproducible => "not-reproducible",
            Self::Adapter => "adapter",
            Self::OurFault => "our-fault",
            Self::Interrupted | Self::Terminated | Self::HungUp => "interrupted",
        }
    }

    /// The one of both that wins.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        if self.place() <= other.place() { self } else { other }
    }

    /// Its end in the table's order.
    fn place(self) -> usize {
        TABLE.iter().position(|row| row.0 == self).expect("the table has every end")
    }

    fn row(self) -> &'static (Self, u8, &'static str) {
        &TABLE[self.place()]
    }

    /// Every code with its meaning, in the order of the codes: for the help text.
    pub(crate) fn help() -> String {
        let mut rows = TABLE.to_vec();
        rows.sort_by_key(|row| row.1);
        let mut text = String::from("Exit codes:\n");
        for (_, code, meaning) in rows {
            text.push_str(&format!("  {code:>3}  {meaning}\n"));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::{Exit, TABLE};

    #[test]
    fn of_several_ends_the_most_telling_wins() {
        let order: Vec<u8> = TABLE.iter().map(|row| row.1).collect();
        assert_eq!(order, [70, 130, 143, 129, 7, 2, 1, 6, 5, 3, 4, 0]);
        for (above, (winner, ..)) in TABLE.iter().enumerate() {
            for (loser, ..) in &TABLE[above..] {
                assert_eq!(winner.or(*loser), *winner);
                assert_eq!(loser.or(*winner), *winner);
            }
        }
    }

    #[test]
    fn every_code_has_a_meaning_and_a_word() {
        for (exit, code, meaning) in TABLE {
            assert_eq!((exit.code(), exit.meaning()), (code, meaning));
            assert!(!exit.verdict().is_empty());
            assert!(Exit::help().contains(meaning));
        }
    }
}
