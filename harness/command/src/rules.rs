//! `rules`: the catalogue, one rule in full, and the table that gives a deviation its rule.

use crate::Exit;
use crate::arguments::{Rules, RulesVerb};
use crate::failure::Failure;
use crate::output;
use std::fmt::Write;
use trackproof::judge::{Place, ROWS, Row};
use trackproof::report::Style;
use trackproof::rules::{Level, RULES, Rule};

/// Runs the verb.
pub(crate) fn rules(rules: &Rules) -> Result<Exit, Failure> {
    let style = output::style();
    let text = match &rules.verb {
        Some(RulesVerb::Explain { rule }) => explained(rule, style),
        None if rules.attribution => attribution(),
        None => listed(style),
    };
    output::print(&text)?;
    Ok(Exit::Conforms)
}

const fn level(level: Level) -> &'static str {
    match level {
        Level::Must => "must",
        Level::Should => "should",
    }
}

fn listed(style: Style) -> String {
    let width = RULES.iter().map(|rule| rule.id.len()).max().unwrap_or(0);
    let mut text = String::new();
    for rule in RULES {
        let id = style.strong(&format!("{:<width$}", rule.id));
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{id}  {:<6}  {}", level(rule.level), rule.sentence);
    }
    text
}

fn explained(rule: &Rule, style: Style) -> String {
    let needs: Vec<&str> = rule.needs().iter().map(|capability| capability.name()).collect();
    let needs = if !rule.shows_in_cases() {
        "a recording of the drive lines (`trackproof capture`)".into()
    } else if needs.is_empty() {
        "nothing".into()
    } else {
        needs.join(", ")
    };
    format!(
        "{}  ({})\n  The rule   {}\n  Catches    {}\n  For users  {}\n  Source     {}\n  Needs      \
         {needs}\n",
        style.strong(rule.id),
        level(rule.level),
        rule.sentence,
        rule.catches,
        rule.effect,
        rule.source,
    )
}

/// The table as it is used: the first row that fits gives the rule.
fn attribution() -> String {
    let head = ["what", "where", "looks like", "rule", "kind"].map(str::to_owned);
    let rows: Vec<[String; 5]> = std::iter::once(head).chain(ROWS.iter().map(cells)).collect();
    let width = |column: usize| rows.iter().map(|row| row[column].len()).max().unwrap_or(0);
    let widths = [width(0), width(1), width(2), width(3)];
    let mut text = String::from("The first row that fits gives a deviation its rule and kind.\n");
    for [what, place, edits, rule, kind] in &rows {
        let line = format!(
            "{what:<0$}  {place:<1$}  {edits:<2$}  {rule:<3$}  {kind}",
            widths[0], widths[1], widths[2], widths[3]
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}

fn cells(row: &Row) -> [String; 5] {
    let places: Vec<&str> = Place::NAMES
        .iter()
        .filter(|(place, _)| row.place.has(*place))
        .map(|(_, name)| *name)
        .collect();
    let or = |text: String, nothing: &str| if text.is_empty() { nothing.into() } else { text };
    [
        words(&format!("{:?}", row.topic)),
        or(places.join(", "), "anywhere"),
        or(row.edits.join(", "), "anything"),
        row.rule.into(),
        or(row.kind.into(), "as it looks"),
    ]
}

/// A name in words: `ExtraWord` becomes `extra word`.
fn words(name: &str) -> String {
    let mut text = String::new();
    for letter in name.chars() {
        if letter.is_ascii_uppercase() && !text.is_empty() {
            text.push(' ');
        }
        text.push(letter.to_ascii_lowercase());
    }
    text
}

#[cfg(test)]
mod tests {
    use super::{attribution, explained, listed};
    use trackproof::judge::ROWS;
    use trackproof::report::Style;
    use trackproof::rules::RULES;

    #[test]
    fn the_list_has_a_line_a_rule_and_each_can_be_explained() {
        assert_eq!(listed(Style::Plain).lines().count(), RULES.len());
        for rule in RULES {
            let text = explained(rule, Style::Plain);
            assert!(text.contains(rule.effect) && text.contains(rule.source), "{text}");
        }
    }

    #[test]
    fn the_table_has_a_line_a_row_under_its_head() {
        assert_eq!(attribution().lines().count(), ROWS.len() + 2);
    }
}
