//! A real FAT12 volume goes onto 160 tracks and comes back, byte for byte.

use trackproof_contract::ChannelBits;
use trackproof_model::layout::{Address, decode};
use trackproof_model::software_sync::{GoodSectors, by_software, read_bits};
use trackproof_tests::volume::{
    CYLINDERS, LAYOUT, SECTOR_BYTES, SECTORS, SIDES, VOLUME_BYTES, VolumeError, address, assemble,
    check, files, make, tracks,
};

fn word(image: &[u8], offset: usize) -> usize {
    usize::from(u16::from_le_bytes([image[offset], image[offset + 1]]))
}

#[test]
fn the_volume_has_the_standard_geometry() {
    let image = make().unwrap().image;
    assert_eq!(image.len(), VOLUME_BYTES);
    // Offsets of the descriptor: a university's lecture notes (second hand); sides at offset 26,
    // byte position 27: ISO 9293, 9.2.12. Values: a published table of FAT12 geometries (second
    // hand); media byte: a programmer's guide, fig. 5-3.
    assert_eq!(word(&image, 0x0b), 512, "bytes a sector");
    assert_eq!(image[0x0d], 2, "sectors a cluster");
    assert_eq!(word(&image, 0x0e), 1, "reserved sectors");
    assert_eq!(image[0x10], 2, "FATs");
    assert_eq!(word(&image, 0x11), 112, "root entries");
    assert_eq!(word(&image, 0x13), 1_440, "sectors");
    assert_eq!(image[0x15], 0xf9, "media byte");
    assert_eq!(word(&image, 0x16), 3, "sectors a FAT");
    assert_eq!(word(&image, 0x18), 9, "sectors a track");
    assert_eq!(word(&image, 0x1a), 2, "sides");
    // By arithmetic: 1 + 2 x 3, 112 x 32 / 512, (1440 - 14) / 2, 713 + 2 entries of 1.5 bytes.
    let root_start = 1 + 2 * word(&image, 0x16);
    let data_start = root_start + word(&image, 0x11) * 32 / 512;
    let clusters = (word(&image, 0x13) - data_start) / 2;
    assert_eq!((root_start, data_start, clusters), (7, 14, 713));
    assert_eq!(((clusters + 2) * 3).div_ceil(2).div_ceil(512), 3, "sectors that a FAT needs");
    // First entries FF9 and FFF, packed as in a reference page on FAT codes (second hand).
    assert_eq!(image[512..515], [0xf9, 0xff, 0xff]);
    assert!(image[512..4 * 512] == image[4 * 512..7 * 512], "both FATs are equal");
}

#[test]
fn the_volume_is_the_same_each_time_and_holds_what_was_put_on_it() {
    let volume = make().unwrap();
    assert!(make().unwrap() == volume);
    assert!(files(&volume.image).unwrap() == volume.files);
    // A FAT12 entry, as packed by a reference page on FAT codes (second hand).
    let entry =
        |cluster: usize| word(&volume.image, 512 + cluster * 3 / 2) >> (4 * (cluster % 2)) & 0xfff;
    let jumps = (2..715).filter(|cluster| (2..0xff0).contains(&entry(*cluster)));
    assert!(jumps.filter(|cluster| entry(*cluster) != cluster + 1).count() > 20, "lies scattered");
    let largest = volume.files.values().map(Vec::len).max().unwrap();
    assert!(largest > 100 * 2 * SECTOR_BYTES, "more than a hundred clusters: {largest} bytes");
}

#[test]
fn a_spoiled_volume_is_noticed() {
    let mut image = make().unwrap().image;
    image[4 * 512 + 5] ^= 0xff;
    let error = check(&image).unwrap_err();
    assert!(matches!(error, VolumeError::Program { program: "fsck.fat", .. }), "{error}");
}

#[test]
fn logical_sectors_are_counted_over_sectors_sides_cylinders() {
    // By arithmetic from ISO 9293, 6.1.3; that sides come before cylinders: from memory.
    let at = |cylinder, side, sector| Address { cylinder, side, sector, size_code: 2 };
    for (logical_sector, expected) in [
        (0, at(0, 0, 1)),
        (8, at(0, 0, 9)),
        (9, at(0, 1, 1)),
        (18, at(1, 0, 1)),
        (1_439, at(79, 1, 9)),
    ] {
        assert_eq!(address(logical_sector), expected);
    }
}

#[test]
fn all_tracks_decode_back_to_the_same_bytes_at_any_phase() {
    let image = make().unwrap().image;
    let tracks = tracks(&image);
    assert_eq!(tracks.len(), usize::from(CYLINDERS) * usize::from(SIDES));
    let (mut plain, mut by_host) = (GoodSectors::new(), GoodSectors::new());
    for (place, (cylinder, side, track)) in tracks.iter().enumerate() {
        let by = place * 631;
        let found = decode(&track.rotated(by), &LAYOUT);
        assert_eq!(found.defects, [], "cylinder {cylinder} side {side}");
        assert_eq!(found.sectors.len(), usize::from(SECTORS));
        plain.extend(found.sectors.into_iter().map(|sector| (sector.address, sector.data)));

        let mut raw = ChannelBits::new();
        raw.push_cyclic(track, by, read_bits(track.len(), LAYOUT, 16));
        by_host.extend(by_software(&raw, LAYOUT));
    }
    assert!(plain == by_host);
    assert!(assemble(&plain).unwrap() == image);
}

#[test]
fn a_lost_sector_is_named() {
    let error = assemble(&GoodSectors::new()).unwrap_err();
    assert_eq!(error.to_string(), "cylinder 0 side 0 sector 1 was not read back with right checks");
}
