//! `init`: a folder with an implementation that has nothing yet, compiles, and says what each of
//! its methods would open.

use crate::Exit;
use crate::arguments::{Init, Language, Part};
use crate::failure::Failure;
use crate::output;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use trackproof::lift::{data_separator, track_encoder, track_writer, word_reader};
use trackproof::rules::RULES;
use trackproof_contract::{Capabilities, Capability};

/// Methods with the capabilities that each opens.
type Methods = &'static [(&'static str, &'static [Capability])];

/// Columns of a comment that lists rules.
const COLUMNS: usize = 96;

/// Runs the verb.
pub(crate) fn init(init: &Init) -> Result<Exit, Failure> {
    let dir = &init.dir;
    let files = match (init.language, init.part) {
        (Language::C, Some(part)) => c_part_files(part),
        (_, Some(_)) => {
            return Err(Failure::usage(
                "--part is for `init c`; in the other languages it is a word reader that is begun",
            ));
        }
        (Language::Rust, None) => rust_files()?,
        (Language::C, None) => c_files(),
        (Language::Python, None) => python_files()?,
    };
    refuse_what_is_there(dir)?;
    for (name, text) in &files {
        let path = dir.join(name);
        let folder = path.parent().expect("a file in the folder");
        fs::create_dir_all(folder)
            .and_then(|()| fs::write(&path, text))
            .map_err(|error| Failure::usage(format!("{}: {error}", path.display())))?;
    }
    output::print(&told(init, &files))?;
    Ok(Exit::Conforms)
}

/// The folder must be new, or empty: nothing is ever overwritten.
fn refuse_what_is_there(dir: &Path) -> Result<(), Failure> {
    let refuse = |why: String| {
        Failure::usage(format!("{}: {why}; name a folder that is new or empty", dir.display()))
    };
    match fs::read_dir(dir) {
        Ok(mut entries) => match entries.next() {
            Some(_) => Err(refuse("the folder is not empty".into())),
            None => Ok(()),
        },
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(refuse(error.to_string())),
    }
}

/// The clone that this program was built from.
fn clone() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).to_owned()
}

fn rust_files() -> Result<Vec<(&'static str, String)>, Failure> {
    let root = clone();
    if !root.join("harness/command/Cargo.toml").is_file() {
        return Err(Failure::usage(format!(
            "{}: the clone that this program was built from is not there any more; build it again \
             from a clone, for the new program depends on that",
            root.display()
        )));
    }
    let place = root.display().to_string();
    if place.contains('\'') {
        return Err(Failure::usage(format!(
            "{place}: a path with a ' does not go into a Cargo.toml; move the clone"
        )));
    }
    let manifest = include_str!("../templates/Cargo.toml.txt").replace("@root@", &place);
    let source = explained(
        include_str!("../templates/main.rs"),
        word_reader::METHODS,
        ["// ", "// Opens ", "    // "],
    );
    let mut files = vec![("Cargo.toml", manifest), ("src/main.rs", source)];
    // The very versions that the command was built with.
    if let Ok(lock) = fs::read_to_string(root.join("Cargo.lock")) {
        files.push(("Cargo.lock", lock));
    }
    Ok(files)
}

fn c_files() -> Vec<(&'static str, String)> {
    let lines: Vec<String> = Capability::ALL
        .iter()
        // No controller has to say so, or can.
        .filter(|one| !matches!(one, Capability::Fifo | Capability::Separator))
        .map(|one| {
            let name = one.name().replace("track-00", "track-zero").replace('-', "_");
            let opens = opens("opens ", "           ", &[*one], Capabilities::all());
            format!("/* | UINT64_C(1) << TP_CAN_{}\n           {opens} */", name.to_uppercase())
        })
        .collect();
    let source =
        include_str!("../templates/mine.c").replace("@capabilities@", &lines.join("\n        "));
    with_makefile(source)
}

/// The functions of a part's table, as its seam has them, and the stub.
const fn part(part: Part) -> (Methods, &'static str) {
    match part {
        Part::WordReader => (word_reader::METHODS, include_str!("../templates/word_reader.c")),
        Part::TrackWriter => (track_writer::METHODS, include_str!("../templates/track_writer.c")),
        Part::TrackEncoder => {
            (track_encoder::METHODS, include_str!("../templates/track_encoder.c"))
        }
        Part::DataSeparator => {
            (data_separator::METHODS, include_str!("../templates/data_separator.c"))
        }
    }
}

fn c_part_files(of: Part) -> Vec<(&'static str, String)> {
    let (methods, template) = part(of);
    with_makefile(explained(template, methods, ["", "Opens ", "       "]))
}

/// What a library in C needs beside its source.
fn with_makefile(source: String) -> Vec<(&'static str, String)> {
    vec![
        ("mine.c", source),
        ("Makefile", include_str!("../templates/Makefile").into()),
        ("trackproof.h", trackproof_c_abi::HEADER.into()),
    ]
}

/// A template with what each method opens in the place of its name: how a line of a comment begins
/// there, how the first one is to begin, and the next ones.
fn explained(template: &str, methods: Methods, [line, first, next]: [&str; 3]) -> String {
    let reach = all_of(methods);
    methods.iter().fold(template.to_owned(), |text, (method, capabilities)| {
        text.replace(&format!("{line}@{method}@"), &opens(first, next, capabilities, reach))
    })
}

#[cfg(unix)]
fn python_files() -> Result<Vec<(&'static str, String)>, Failure> {
    let source = explained(
        include_str!("../templates/mine.py"),
        word_reader::METHODS,
        ["# ", "# Opens ", "    # "],
    );
    Ok(vec![("mine.py", source), ("trackproof_child.py", trackproof_process::PYTHON_KIT.into())])
}

#[cfg(not(unix))]
fn python_files() -> Result<Vec<(&'static str, String)>, Failure> {
    Err(Failure::usage("child processes need a system of the Unix kind"))
}

/// All that the methods open.
fn all_of(methods: Methods) -> Capabilities {
    methods.iter().fold(Capabilities::NONE, |all, (_, some)| all.union(Capabilities::of(some)))
}

/// The rules that need one of these capabilities, and no other than there are in `reach`.
fn rules_of(capabilities: &[Capability], reach: Capabilities) -> Vec<&'static str> {
    let set = Capabilities::of(capabilities);
    let opened = |rule: &&trackproof::rules::Rule| {
        let needs = rule.needs();
        reach.missing(needs).is_empty() && needs.iter().any(|one| set.has(one))
    };
    RULES.iter().filter(opened).map(|rule| rule.id).collect()
}

/// The same as a comment, broken into lines.
fn opens(first: &str, next: &str, capabilities: &[Capability], reach: Capabilities) -> String {
    let rules = rules_of(capabilities, reach);
    let names: Vec<&str> = capabilities.iter().map(|one| one.name()).collect();
    let names = names.join(", ");
    let list = if rules.is_empty() { "no rule by itself".into() } else { rules.join(", ") };
    let mut text = first.to_owned();
    let mut column = next.len() + first.len();
    for word in format!("{names}: {list}.").split(' ') {
        if column + word.len() > COLUMNS {
            text.truncate(text.trim_end().len());
            let _ = write!(text, "\n{next}");
            column = next.len();
        }
        let _ = write!(text, "{word} ");
        column += word.len() + 1;
    }
    text.truncate(text.trim_end().len());
    text
}

/// What was written, what to do next, and what each method opens.
fn told(init: &Init, files: &[(&str, String)]) -> String {
    let dir = init.dir.display();
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let mut text = format!("{dir}: {}\n\nNext:\n", names.join(", "));
    text.push_str(&match init.language {
        Language::Rust => format!("  cd {dir} && cargo run --release -- check rust:mine\n"),
        Language::C => format!("  make -C {dir} && trackproof check lib:{dir}/libmine.so\n"),
        Language::Python => format!("  trackproof check \"cmd:python3 {dir}/mine.py\"\n"),
    });
    text.push_str(
        "It has nothing yet, so nothing is judged (exit code 4). What opens which rule:\n\n",
    );
    let methods = match (init.language, init.part) {
        (Language::Rust | Language::Python, _) => Some(word_reader::METHODS),
        (Language::C, of) => of.map(|of| part(of).0),
    };
    let reach = methods.map_or_else(Capabilities::all, all_of);
    let mut row = |name: &str, capabilities: &[Capability]| {
        let rules = rules_of(capabilities, reach).join(", ");
        let rules = if rules.is_empty() { "no rule by itself".into() } else { rules };
        let _ = writeln!(text, "  {name:<24}  {rules}");
    };
    match methods {
        Some(methods) => methods.iter().for_each(|(method, list)| row(method, list)),
        None => {
            let named = Capability::ALL.iter().filter(|one| **one != Capability::Fifo);
            named.for_each(|one| row(one.name(), &[*one]));
        }
    }
    text
}
