//! Makes a shared library of a file of this folder, and a case to run on `minimal.c`.

use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;
use trackproof_c_abi::{Library, LoadError};
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Medium, Observation, Operation,
    Profile, Rig, RigError, Start, Track,
};

/// A compiled library in a folder that goes with it.
pub(crate) struct Compiled {
    folder: TempDir,
}

impl Compiled {
    pub(crate) fn path(&self) -> PathBuf {
        self.folder.path().join(format!("{DLL_PREFIX}minimal{DLL_SUFFIX}"))
    }

    pub(crate) fn open(&self) -> Result<Library, LoadError> {
        Library::open(&self.path())
    }

    /// Runs the case of [`case`] on it.
    pub(crate) fn run(&self) -> Result<Observation, RigError> {
        let mut rig = self.open().expect("it opens").rig(None).expect("it is made");
        let mut observation = Observation::new();
        rig.run(&case(), &mut observation).map(|()| observation)
    }
}

/// Compiles `minimal.c` with these names defined.
pub(crate) fn compile(definitions: &[(&str, &str)]) -> Compiled {
    compile_file("minimal.c", definitions)
}

/// Compiles a file of this folder with these names defined.
pub(crate) fn compile_file(file: &str, definitions: &[(&str, &str)]) -> Compiled {
    let compiled = Compiled { folder: tempfile::tempdir().expect("a temporary folder") };
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".into());
    let mut command = Command::new(&compiler);
    command.args(["-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-fPIC", "-shared", "-I"]);
    command.arg(here.join("include")).arg(here.join("tests/abi").join(file));
    command.args(definitions.iter().map(|(name, text)| format!("-D{name}={text}")));
    command.arg("-o").arg(compiled.path());
    let output = command.output().unwrap_or_else(|error| panic!("{compiler}: {error}"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    compiled
}

/// Two polls, and a read of two words from a track of four.
pub(crate) fn case() -> Case {
    let drive = DriveBench {
        turn_bits: 60,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let track = ChannelBits::from_bytes(&[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x80], 60);
    let service = HostService { first_ns: 1_000, interval_ns: 1_000, stalls: Vec::new() };
    Case {
        profile: Profile::sync_dma(),
        bench: Bench { access_ns: 100, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 0, side: 0, medium: Medium::image_bits(track) }],
        program: vec![
            Operation::PollStatus,
            Operation::Read { words: 2, start: Start::Now, service },
            Operation::Wait { ns: 5_000 },
            Operation::PollByte,
        ],
        flux: None,
    }
}
