//! The report that CI systems read: a test case a scenario. It carries no times
//! and no date, so that equal runs give equal reports.

use std::fmt::Write as _;

/// How one case ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Case {
    Passed,
    /// With what failed.
    Failed(String),
    /// With why the run shows nothing.
    Error(String),
    /// With why.
    Skipped(String),
}

/// The whole report; `cases` with the names of their files.
pub(super) fn render(cases: &[(String, Case)]) -> String {
    let count = |pick: fn(&Case) -> bool| cases.iter().filter(|(_, case)| pick(case)).count();
    let counts = format!(
        "tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"{}\"",
        cases.len(),
        count(|case| matches!(case, Case::Failed(_))),
        count(|case| matches!(case, Case::Error(_))),
        count(|case| matches!(case, Case::Skipped(_)))
    );
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    _ = writeln!(out, "<testsuites name=\"dosewright\" {counts}>");
    _ = writeln!(out, "  <testsuite name=\"dosewright\" {counts}>");
    for (name, case) in cases {
        let open = format!("    <testcase name=\"{}\" classname=\"scenario\"", escaped(name));
        let (tag, text) = match case {
            Case::Passed => {
                _ = writeln!(out, "{open}/>");
                continue;
            }
            Case::Failed(text) => ("failure", text),
            Case::Error(text) => ("error", text),
            Case::Skipped(text) => ("skipped", text),
        };
        let first = escaped(text.lines().next().unwrap_or_default());
        _ = writeln!(
            out,
            "{open}>\n      <{tag} message=\"{first}\">{}</{tag}>\n    </testcase>",
            escaped(text)
        );
    }
    out.push_str("  </testsuite>\n</testsuites>\n");
    out
}

/// As XML 1.0 may hold it: characters that it cannot hold at all are replaced.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\n' | '\t' => out.push(c),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if c < ' ' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_counts_and_escapes() {
        let cases = [
            ("a.toml".to_owned(), Case::Passed),
            ("b & c.toml".to_owned(), Case::Failed("1 < 2\n\u{1b}[31m".to_owned())),
            ("d.toml".to_owned(), Case::Error("no effect".to_owned())),
        ];
        let report = render(&cases);
        assert!(report.contains("tests=\"3\" failures=\"1\" errors=\"1\" skipped=\"0\""));
        assert!(report.contains("<testcase name=\"b &amp; c.toml\""));
        assert!(report.contains("<failure message=\"1 &lt; 2\">1 &lt; 2\n\u{fffd}[31m</failure>"));
    }
}
