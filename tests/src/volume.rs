//! A real volume: formatted by a general tool, filled by a general library, laid out on tracks.
//!
//! The scenario is ours: the disk of a small observatory, Thornwick Hill, with its logbook and
//! its plates. `mkfs.fat` and `fsck.fat` come with Debian's dosfstools; where they are missing
//! that is an error, never a skip.

use fatfs::{Dir, FileSystem, FsOptions};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Cursor, Read, Write};
use std::path::Path;
use std::process::Command;
use trackproof_contract::ChannelBits;
use trackproof_model::layout::{Address, Layout, SectorData, encode};
use trackproof_model::software_sync::GoodSectors;

/// Cylinders of the volume (second hand, from a published table of FAT12 geometries, as are all
/// numbers here; the volume itself states them again).
pub const CYLINDERS: u8 = 80;
/// Sides of the volume.
pub const SIDES: u8 = 2;
/// Sectors a track.
pub const SECTORS: u8 = 9;
/// Bytes of a sector.
pub const SECTOR_BYTES: usize = 512;
/// Bytes of the volume: 80 x 2 x 9 x 512.
pub const VOLUME_BYTES: usize = 737_280;
/// How its tracks are laid out.
pub const LAYOUT: Layout = Layout::MFM_9_BY_512;

/// Files by their path, folders parted by `/`.
pub type Files = BTreeMap<String, Vec<u8>>;

/// A volume and what was put on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Volume {
    /// The volume's sectors, by logical sector number.
    pub image: Vec<u8>,
    /// Its files.
    pub files: Files,
}

/// Why there is no volume.
#[derive(Debug)]
pub enum VolumeError {
    /// A program that could not be started.
    Missing {
        /// The program.
        program: &'static str,
        /// What the system said.
        cause: io::Error,
    },
    /// A program that found fault.
    Program {
        /// The program.
        program: &'static str,
        /// All that it printed.
        output: String,
    },
    /// Reading or writing, of a file or inside the volume.
    Io(io::Error),
    /// A sector that was not read back.
    Sector(Address),
}

impl fmt::Display for VolumeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { program, cause } => write!(
                f,
                "{program} could not be started ({cause}): install Debian's dosfstools \
                 (apt-get install dosfstools)"
            ),
            Self::Program { program, output } => write!(f, "{program} found fault: {output}"),
            Self::Io(cause) => write!(f, "the volume could not be read or written: {cause}"),
            Self::Sector(address) => write!(f, "{address} was not read back with right checks"),
        }
    }
}

impl std::error::Error for VolumeError {}

impl From<io::Error> for VolumeError {
    fn from(cause: io::Error) -> Self {
        Self::Io(cause)
    }
}

/// Makes the observatory's volume, the same one each time, and has it checked.
///
/// # Errors
/// [`VolumeError`] when a program is missing or finds fault, or the volume cannot be filled.
pub fn make() -> Result<Volume, VolumeError> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("thornwick.img");
    std::fs::write(&path, vec![0; VOLUME_BYTES])?;
    // 12 FAT bits, 2 sectors a cluster, 112 root entries, 2 FATs, 9 sectors and 2 sides: a
    // published table of FAT12 geometries (second hand); media byte F9: a programmer's guide,
    // fig. 5-3. How long a FAT is, mkfs.fat computes itself.
    let options = "--invariant -F 12 -s 2 -r 112 -f 2 -R 1 -S 512 -M 0xf9 -g 2/9 -n THORNWICK";
    run("mkfs.fat", &options.split(' ').collect::<Vec<_>>(), &path)?;
    let mut image = std::fs::read(&path)?;
    let files = contents();
    fill(&mut image, &files)?;
    check(&image)?;
    Ok(Volume { image, files })
}

/// Has `fsck.fat` look at a volume.
///
/// # Errors
/// [`VolumeError::Program`] when it finds fault.
pub fn check(image: &[u8]) -> Result<(), VolumeError> {
    let mut file = tempfile::NamedTempFile::new()?;
    file.write_all(image)?;
    run("fsck.fat", &["-n"], file.path())
}

/// Starts a program of dosfstools, also where ordinary users' search paths leave it out.
fn run(program: &'static str, options: &[&str], path: &Path) -> Result<(), VolumeError> {
    let start = |name: &str| Command::new(name).args(options).arg(path).output();
    let output = start(program)
        .or_else(|_| start(&format!("/usr/sbin/{program}")))
        .map_err(|cause| VolumeError::Missing { program, cause })?;
    if output.status.success() {
        return Ok(());
    }
    let printed = [output.stdout, output.stderr].concat();
    Err(VolumeError::Program { program, output: String::from_utf8_lossy(&printed).into_owned() })
}

/// What the observatory keeps.
fn contents() -> Files {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(19);
    let mut noise = |count| {
        let mut bytes = vec![0; count];
        random.fill_bytes(&mut bytes);
        bytes
    };
    let logbook: String = (1..=120)
        .map(|night| {
            format!("Night {night}: seeing {}, plate {} exposed.\r\n", night % 5, night * 3)
        })
        .collect();
    // Ordinary data that spells identifier and data marks: no clock bit is missing, so none of
    // it may be taken for one. The checks are right (CRC-16/IBM-3740, crc-catalog 2.5.0).
    let decoys = [
        [0, 0xa1, 0xa1, 0xa1, 0xfe, 0x00, 0x00, 0x01, 0x02, 0xca, 0x6f, 0x4e],
        [0, 0xa1, 0xa1, 0xa1, 0xfb, 0xc2, 0xc2, 0xc2, 0xfc, 0x4e, 0x14, 0x0a],
    ];
    Files::from([
        ("LOGBOOK.TXT".into(), logbook.into_bytes()),
        ("GUESTS.TXT".into(), vec![]),
        ("DARK/DARK-01.RAW".into(), vec![0; 20_000]),
        ("DARK/DARK-02.RAW".into(), vec![0xff; 1_024]),
        ("PLATES/PLATE-7.RAW".into(), noise(180_000)),
        ("PLATES/WINTER/COMET-3.RAW".into(), noise(96_001)),
        ("PLATES/WINTER/STAR.RAW".into(), noise(1)),
        ("DECOYS.RAW".into(), decoys.concat().repeat(400)),
    ])
}

/// Puts the files into an empty volume, all at the same time and piece by piece, so that they lie
/// scattered over it.
fn fill(image: &mut [u8], files: &Files) -> Result<(), VolumeError> {
    const PIECE_BYTES: usize = 7_000;
    let volume = FileSystem::new(Cursor::new(image), FsOptions::new())?;
    {
        let root = volume.root_dir();
        for folder in ["DARK", "PLATES", "PLATES/WINTER"] {
            root.create_dir(folder)?;
        }
        let mut open = Vec::new();
        for (path, bytes) in files {
            open.push((root.create_file(path)?, bytes.chunks(PIECE_BYTES)));
        }
        let pieces = files.values().map(|bytes| bytes.len().div_ceil(PIECE_BYTES)).max();
        for _ in 0..pieces.unwrap_or(0) {
            for (file, left) in &mut open {
                file.write_all(left.next().unwrap_or_default())?;
            }
        }
    }
    Ok(volume.unmount()?)
}

/// All files of a volume.
///
/// # Errors
/// [`VolumeError::Io`] when the library finds no volume in the image.
pub fn files(image: &[u8]) -> Result<Files, VolumeError> {
    fn walk<T: fatfs::ReadWriteSeek>(
        folder: &Dir<'_, T>,
        path: &str,
        files: &mut Files,
    ) -> io::Result<()> {
        for entry in folder.iter() {
            let entry = entry?;
            let name = String::from_utf8_lossy(entry.short_file_name_as_bytes());
            if entry.is_file() {
                let mut bytes = Vec::new();
                entry.to_file().read_to_end(&mut bytes)?;
                files.insert(format!("{path}{name}"), bytes);
            } else if name != "." && name != ".." {
                walk(&entry.to_dir(), &format!("{path}{name}/"), files)?;
            }
        }
        Ok(())
    }
    let mut copy = image.to_vec();
    let volume = FileSystem::new(Cursor::new(&mut copy[..]), FsOptions::new())?;
    let mut files = Files::new();
    walk(&volume.root_dir(), "", &mut files)?;
    Ok(files)
}

/// Where a logical sector stands: number = (cylinder x sides + side) x sectors + sector - 1.
///
/// Source: ISO 9293, 6.1.3 (that sides come before cylinders: from memory).
#[must_use]
pub const fn address(logical_sector: usize) -> Address {
    let track = logical_sector / SECTORS as usize;
    Address {
        cylinder: (track / SIDES as usize) as u8,
        side: (track % SIDES as usize) as u8,
        sector: (logical_sector % SECTORS as usize) as u8 + 1,
        size_code: LAYOUT.size_code,
    }
}

/// All tracks of a volume, laid out: cylinder, side, one turn from index to index.
///
/// # Panics
/// When the image is not [`VOLUME_BYTES`] long.
#[must_use]
pub fn tracks(image: &[u8]) -> Vec<(u8, u8, ChannelBits)> {
    assert_eq!(image.len(), VOLUME_BYTES, "bytes of the image");
    let track_bytes = usize::from(SECTORS) * SECTOR_BYTES;
    image
        .chunks(track_bytes)
        .enumerate()
        .map(|(track, contents)| {
            let Address { cylinder, side, .. } = address(track * usize::from(SECTORS));
            let sectors: Vec<_> = contents.chunks(SECTOR_BYTES).map(SectorData::from).collect();
            let track = encode(&LAYOUT, cylinder, side, &sectors)
                .expect("nine sectors of 512 bytes are what the layout asks for");
            (cylinder, side, track.bits)
        })
        .collect()
}

/// Puts a volume together again from its sectors, of all tracks in one map.
///
/// # Errors
/// [`VolumeError::Sector`] names the first sector that is not there.
pub fn assemble(sectors: &GoodSectors) -> Result<Vec<u8>, VolumeError> {
    let mut image = Vec::with_capacity(VOLUME_BYTES);
    for logical_sector in 0..VOLUME_BYTES / SECTOR_BYTES {
        let address = address(logical_sector);
        image.extend(sectors.get(&address).ok_or(VolumeError::Sector(address))?);
    }
    Ok(image)
}

#[cfg(test)]
mod tests {
    use super::{Path, run};

    #[test]
    fn a_missing_program_is_an_error_that_says_what_to_install() {
        let error = run("mkfs.thornwick", &[], Path::new("thornwick.img")).unwrap_err();
        let text = error.to_string();
        assert!(text.contains("mkfs.thornwick could not be started"), "{text}");
        assert!(text.contains("apt-get install dosfstools"), "{text}");
    }
}
