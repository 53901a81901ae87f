//! The Python that `python3` stands for: many are started here, and what finds one takes longer than
//! the one itself where several are installed.

use std::process::Command;
use std::sync::OnceLock;

pub(crate) fn python() -> &'static str {
    static PATH: OnceLock<String> = OnceLock::new();
    PATH.get_or_init(|| {
        let asked = ["-c", "import sys; print(sys.executable)"];
        let output = Command::new("python3").args(asked).output().expect("python3");
        assert!(output.status.success(), "python3: {output:?}");
        format!("'{}'", String::from_utf8(output.stdout).unwrap().trim())
    })
}
