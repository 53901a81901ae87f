//! FAT12 volumes of every size, made by a general tool, against the published arithmetic, and
//! carried over tracks.
//!
//! Source of the geometries: a published table (second hand); media bytes: a programmer's guide,
//! fig. 5-3; where a descriptor's fields stand: lecture notes (second hand), of which the number of
//! sides agrees with ISO/IEC 9293, 9.2.12. What `mkfs.fat` writes by itself is the independent side.

use std::fs::File;
use std::process::Command;
use trackproof::layout_file::load;
use trackproof_model::layout::SectorData;

/// A volume by the table: name of its layout, then the numbers.
struct Row {
    layout: &'static str,
    sectors_a_track: usize,
    sectors_a_cluster: usize,
    fat_sectors: usize,
    root_entries: usize,
    media: u8,
    data_start: usize,
    clusters: usize,
    data_bytes: usize,
}

/// 80 cylinders and two sides each. The last row's geometry is from memory, its sums are computed.
const TABLE: [Row; 4] = [
    Row {
        layout: "mfm-9x512-6250",
        sectors_a_track: 9,
        sectors_a_cluster: 2,
        fat_sectors: 3,
        root_entries: 112,
        media: 0xf9,
        data_start: 14,
        clusters: 713,
        data_bytes: 730_112,
    },
    Row {
        layout: "mfm-15x512-10416",
        sectors_a_track: 15,
        sectors_a_cluster: 1,
        fat_sectors: 7,
        root_entries: 224,
        media: 0xf9,
        data_start: 29,
        clusters: 2_371,
        data_bytes: 1_213_952,
    },
    Row {
        layout: "mfm-18x512-12500",
        sectors_a_track: 18,
        sectors_a_cluster: 1,
        fat_sectors: 9,
        root_entries: 224,
        media: 0xf0,
        data_start: 33,
        clusters: 2_847,
        data_bytes: 1_457_664,
    },
    Row {
        layout: "mfm-36x512-25000",
        sectors_a_track: 36,
        sectors_a_cluster: 2,
        fat_sectors: 9,
        root_entries: 240,
        media: 0xf0,
        data_start: 34,
        clusters: 2_863,
        data_bytes: 2_931_712,
    },
];

impl Row {
    const fn sectors(&self) -> usize {
        80 * 2 * self.sectors_a_track
    }
}

/// A volume of the row's size. The tool chooses everything itself, but for the last row's root
/// entries: there it would take 224, which leaves half a cluster over.
fn made(row: &Row) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("thornwick.img");
    File::create(&path).unwrap().set_len(row.sectors() as u64 * 512).unwrap();
    let mut options = vec!["--invariant", "-F", "12"];
    if row.root_entries == 240 {
        options.extend(["-r", "240"]);
    }
    let start = |program: &str| Command::new(program).args(&options).arg(&path).output();
    let output = start("mkfs.fat")
        .or_else(|_| start("/usr/sbin/mkfs.fat"))
        .expect("mkfs.fat: install Debian's dosfstools");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    std::fs::read(path).unwrap()
}

fn word(image: &[u8], at: usize) -> usize {
    usize::from(u16::from_le_bytes([image[at], image[at + 1]]))
}

#[test]
fn volumes_of_every_size_have_the_published_numbers() {
    for row in &TABLE {
        let image = made(row);
        let name = row.layout;
        // Offsets of the descriptor: as above.
        assert_eq!(word(&image, 0x0b), 512, "{name}: bytes a sector");
        assert_eq!(usize::from(image[0x0d]), row.sectors_a_cluster, "{name}: cluster");
        assert_eq!(word(&image, 0x0e), 1, "{name}: reserved sectors");
        assert_eq!(image[0x10], 2, "{name}: FATs");
        assert_eq!(word(&image, 0x11), row.root_entries, "{name}: root entries");
        assert_eq!(word(&image, 0x13), row.sectors(), "{name}: sectors");
        assert_eq!(image[0x15], row.media, "{name}: media byte");
        assert_eq!(word(&image, 0x16), row.fat_sectors, "{name}: sectors a FAT");
        assert_eq!(word(&image, 0x18), row.sectors_a_track, "{name}: sectors a track");
        assert_eq!(word(&image, 0x1a), 2, "{name}: sides");
        // The media byte begins each FAT too.
        for fat in 0..2 {
            let at = 512 * (1 + fat * row.fat_sectors);
            assert_eq!(image[at..at + 3], [row.media, 0xff, 0xff], "{name}: FAT {fat}");
        }
    }
}

#[test]
fn the_areas_of_a_volume_follow_from_its_numbers() {
    for row in &TABLE {
        let root_sectors = row.root_entries * 32 / 512;
        let root_start = 1 + 2 * row.fat_sectors;
        assert_eq!(root_start + root_sectors, row.data_start, "{}", row.layout);
        let data_sectors = row.sectors() - row.data_start;
        assert_eq!(data_sectors % row.sectors_a_cluster, 0, "{}: no remainder", row.layout);
        assert_eq!(data_sectors / row.sectors_a_cluster, row.clusters, "{}", row.layout);
        assert_eq!(data_sectors * 512, row.data_bytes, "{}", row.layout);
        // One and a half bytes an entry, two entries reserved; the limit of 4 085 clusters: from
        // memory.
        let fat_bytes = (3 * (row.clusters + 2)).div_ceil(2);
        assert_eq!(fat_bytes.div_ceil(512), row.fat_sectors, "{}", row.layout);
        assert!(row.clusters < 4_085, "{}", row.layout);
    }
}

#[test]
fn entries_are_packed_in_one_and_a_half_bytes() {
    // Even entries are the low twelve bits of the word at floor(1.5 n), odd ones the high (a
    // published description of FAT, second hand). The vector is computed from that.
    let packed = [0xf0, 0xff, 0xff, 0x03, 0xc0, 0xab, 0xff, 0x0f];
    let entry = |n: usize| {
        let word = word(&packed, 3 * n / 2);
        if n.is_multiple_of(2) { word & 0xfff } else { word >> 4 }
    };
    assert_eq!([0, 1, 2, 3, 4].map(entry), [0xff0, 0xfff, 0x003, 0xabc, 0xfff]);
}

#[test]
fn volumes_of_every_size_come_back_from_their_tracks() {
    for row in &TABLE {
        let image = made(row);
        let layout = load(row.layout).unwrap();
        assert_eq!(usize::from(layout.sectors()), row.sectors_a_track, "{}", row.layout);
        // The system area and the last track; the rest of a new volume is zeros.
        let track_bytes = 512 * row.sectors_a_track;
        let tracks = image.chunks(track_bytes).enumerate();
        for (track, contents) in tracks.filter(|(track, _)| *track < 4 || *track == 159) {
            // Sides before cylinders (ISO 9293, 6.1.3; the order: from memory).
            let (cylinder, side) = ((track / 2) as u8, (track % 2) as u8);
            let sectors: Vec<_> = contents.chunks(512).map(SectorData::Kept).collect();
            let bits = layout.encode(cylinder, side, &sectors).unwrap().bits;
            let found = layout.decode(&bits.rotated(track * 631 + 1));
            assert_eq!(found.defects, [], "{} track {track}", row.layout);
            let mut sectors = found.sectors;
            sectors.sort_by_key(|sector| sector.address);
            let back: Vec<u8> = sectors.into_iter().flat_map(|sector| sector.data).collect();
            assert!(back == contents, "{} track {track}", row.layout);
        }
    }
}
