//! The short list as JUnit's XML: a test a rule, failed by its groups, skipped where the
//! implementation cannot be held to it.

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};
use trackproof::report::OvernightReport;
use trackproof::rules::RULES;

/// The file's text.
///
/// # Errors
/// Why it could not be made.
pub(super) fn text(report: &OvernightReport<'_>) -> Result<String, String> {
    let mut suite = TestSuite::new(report.run.implementation);
    let lacks = |id: &str| {
        report.run.summary.skipped_rules().find(|(rule, _)| rule.id == id).map(|(_, lacks)| lacks)
    };
    for rule in RULES.iter().filter(|rule| rule.shows_in_cases()) {
        let groups =
            report.groups.iter().zip(report.again).filter(|(group, _)| group.rule.id == rule.id);
        let mut told: Vec<String> = Vec::new();
        for (group, again) in groups {
            told.push(format!("{}: {}", group.kind, group.likely));
            told.extend(again.iter().cloned());
        }
        let open = report.outcome.aside.iter().filter(|finding| finding.rule.id == rule.id);
        told.extend(open.map(|finding| format!("{}: not made small", finding.kind)));
        let status = match (told.is_empty(), lacks(rule.id)) {
            (false, _) => {
                let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
                status.set_message(rule.sentence).set_description(told.join("\n"));
                status
            }
            (true, Some(lacks)) => {
                let mut status = TestCaseStatus::skipped();
                let lacks: Vec<&str> = lacks.iter().map(|one| one.name()).collect();
                status.set_message(format!("it has no {}", lacks.join(", ")));
                status
            }
            (true, None) => TestCaseStatus::success(),
        };
        suite.add_test_case(TestCase::new(rule.id, status));
    }
    let mut junit = Report::new("trackproof overnight");
    junit.add_test_suite(suite);
    junit.to_string().map_err(|error| error.to_string())
}
