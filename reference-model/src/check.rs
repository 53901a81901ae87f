//! The check of a field: the CRC that follows every address and every data field.
//!
//! The arithmetic is the `crc` crate's, under its catalogue name CRC-16/IBM-3740: width 16,
//! polynomial 1021, register preset to FFFF, not reflected (crc-catalog 2.5.0,
//! src/algorithm.rs). That the polynomial is the disks' own: SA810/860 OEM manual, page 36
//! ("CCITT-equivalent"); the preset to all ones and the high byte first: from memory.

use crc::{CRC_16_IBM_3740, Crc, Table};

const CHECK: Crc<u16, Table<16>> = Crc::<u16, Table<16>>::new(&CRC_16_IBM_3740);

/// The check over several stretches of bytes, one after the other.
///
/// It covers the mark (three times A1 and the mark byte in MFM, the mark byte alone in FM) and
/// the field's bytes; it is recorded high byte first.
///
/// ```
/// use trackproof_model::check::check;
/// // The catalogue's own check value (crc-catalog 2.5.0).
/// assert_eq!(check(&[b"12345", b"6789"]), 0x29b1);
/// ```
#[must_use]
pub fn check(stretches: &[&[u8]]) -> u16 {
    let mut digest = CHECK.digest();
    for stretch in stretches {
        digest.update(stretch);
    }
    digest.finalize()
}

#[cfg(test)]
mod tests {
    use super::check;
    use crc::{CRC_16_KERMIT, CRC_16_XMODEM, Crc};

    /// The definition of polynomial division, a bit at a time: x^16 + x^12 + x^5 + 1, preset to
    /// all ones. It recomputes every value below that has no other source.
    fn division(bytes: &[u8]) -> u16 {
        bytes.iter().fold(0xffff, |register, byte| {
            (0..8).fold(register ^ u16::from(*byte) << 8, |register, _| {
                if register & 0x8000 == 0 { register << 1 } else { register << 1 ^ 0x1021 }
            })
        })
    }

    fn expect(bytes: &[u8], register: u16) {
        assert_eq!(check(&[bytes]), register, "{bytes:02x?}");
        assert_eq!(division(bytes), register, "{bytes:02x?}");
    }

    #[test]
    fn the_catalogue_value_comes_out() {
        // CRC-16/IBM-3740, check value: crc-catalog 2.5.0, src/algorithm.rs.
        expect(b"123456789", 0x29b1);
    }

    #[test]
    fn marks_leave_the_register_where_arithmetic_puts_it() {
        // Computed from the definition: polynomial and preset of crc-catalog 2.5.0; the bytes of
        // the marks: SA810/860 OEM manual, fig. 6-7 (MFM) and fig. 6-9 (FM index mark).
        expect(&[], 0xffff);
        expect(&[0xa1], 0x443b);
        expect(&[0xa1, 0xa1], 0x968b);
        expect(&[0xa1, 0xa1, 0xa1], 0xcdb4);
        expect(&[0xa1, 0xa1, 0xa1, 0xfe], 0xb230);
        expect(&[0xa1, 0xa1, 0xa1, 0xfb], 0xe295);
        expect(&[0xa1, 0xa1, 0xa1, 0xf8], 0xd2f6);
        expect(&[0xa1, 0xa1, 0xa1, 0xf9], 0xc2d7);
        expect(&[0xa1, 0xa1, 0xa1, 0xfa], 0xf2b4);
        expect(&[0xa1, 0xa1, 0xa1, 0xfc], 0x9272);
        expect(&[0xa1, 0xa1, 0xa1, 0xfd], 0x8253);
        expect(&[0xc2], 0x18fe);
        expect(&[0xc2, 0xc2], 0x9437);
        expect(&[0xc2, 0xc2, 0xc2], 0x0d33);
        expect(&[0xc2, 0xc2, 0xc2, 0xfc], 0xcc3e);
        expect(&[0xfe], 0xef21);
        expect(&[0xfb], 0xbf84);
        expect(&[0xf8], 0x8fe7);
        expect(&[0xf9], 0x9fc6);
        expect(&[0xfa], 0xafa5);
        expect(&[0xfc], 0xcf63);
    }

    #[test]
    fn neighbours_in_the_catalogue_give_other_values() {
        // Check values 31C3 and 2189: crc-catalog 2.5.0, src/algorithm.rs. The same polynomial
        // preset to zeros, and reflected.
        let text = b"123456789";
        for (other, value) in [(&CRC_16_XMODEM, 0x31c3), (&CRC_16_KERMIT, 0x2189)] {
            assert_eq!(Crc::<u16>::new(other).checksum(text), value);
            assert_ne!(check(&[text]), value);
            assert_ne!(Crc::<u16>::new(other).checksum(&[0xa1, 0xa1, 0xa1]), 0xcdb4);
        }
    }

    #[test]
    fn stretches_are_one_string_and_equal_lengths_add_up() {
        let a: Vec<u8> = (0..60).map(|i: u8| i.wrapping_mul(73)).collect();
        let b: Vec<u8> = (0..60).map(|i: u8| i.wrapping_mul(29) ^ 0x5a).collect();
        for cut in 0..a.len() {
            assert_eq!(check(&[&a[..cut], &a[cut..]]), check(&[&a]));
            let sum: Vec<u8> = a.iter().zip(&b).map(|(a, b)| a ^ b).take(cut).collect();
            let zeros = vec![0; cut];
            let parts = check(&[&a[..cut]]) ^ check(&[&b[..cut]]) ^ check(&[&zeros]);
            assert_eq!(check(&[&sum]), parts, "{cut} bytes");
        }
    }

    #[test]
    fn no_odd_and_no_double_error_of_a_sector_stays_unseen() {
        // x + 1 divides the polynomial, which has an even number of terms: odd errors are seen.
        assert_eq!((0x1_1021_u32).count_ones() % 2, 0);
        // The order of x, by going round once: two errors less than 32 767 bits apart are seen. A
        // sector of 1 024 bytes with marks, address and checks has far fewer.
        let step = |register: u16| {
            if register & 0x8000 == 0 { register << 1 } else { register << 1 ^ 0x1021 }
        };
        let mut register = step(1);
        let mut order = 1;
        while register != 1 {
            register = step(register);
            order += 1;
        }
        assert_eq!(order, 32_767);
        assert!(8 * (1_024 + 4 + 2) < order);
    }

    #[test]
    fn whole_address_fields_have_these_checks() {
        // Computed from the definition, as above. Address bytes: SMSC LPC47M102 data sheet, p. 49.
        for (address, mfm, fm) in [
            ([0x00, 0x00, 0x01, 0x02], 0xca6f, 0xf281),
            ([0x00, 0x01, 0x01, 0x02], 0xfd5f, 0xc5b1),
            ([0x4f, 0x01, 0x09, 0x02], 0xce84, 0xf66a),
            ([0x4f, 0x01, 0x12, 0x02], 0x110d, 0x29e3),
            ([0x00, 0x00, 0x01, 0x01], 0xfa0c, 0xc2e2),
            ([0x4c, 0x00, 0x1a, 0x00], 0x140a, 0x2ce4),
        ] {
            expect(&[&[0xa1, 0xa1, 0xa1, 0xfe], &address[..]].concat(), mfm);
            expect(&[&[0xfe], &address[..]].concat(), fm);
        }
    }

    #[test]
    fn whole_data_fields_have_these_checks() {
        // Computed from the definition, as above; MFM and FM for 128, 256 and 512 bytes.
        for (fill, sizes) in [
            (0x00, [(0x77be, 0x4829), (0xe122, 0x3d09), (0xda6e, 0x6a94)]),
            (0xe5, [(0x62a7, 0x5d30), (0x7827, 0xa40c), (0xc40b, 0x74f1)]),
            (0xf6, [(0xf292, 0xcd05), (0xcab7, 0x169c), (0x2bf6, 0x9b0c)]),
            (0x4e, [(0x9556, 0xaac1), (0xbb69, 0x6742), (0x8284, 0x327e)]),
            (0xff, [(0x9a17, 0xa580), (0xfbe5, 0x27ce), (0xa5cf, 0x1535)]),
        ] {
            for (size, (mfm, fm)) in [128, 256, 512].into_iter().zip(sizes) {
                expect(&[&[0xa1, 0xa1, 0xa1, 0xfb], &vec![fill; size][..]].concat(), mfm);
                expect(&[&[0xfb], &vec![fill; size][..]].concat(), fm);
            }
        }
        expect(&[&[0xa1, 0xa1, 0xa1, 0xf8], &[0xe5; 512][..]].concat(), 0x656c);
    }

    #[test]
    fn a_field_followed_by_its_own_check_leaves_nothing() {
        // Residue 0000: crc-catalog 2.5.0, src/algorithm.rs.
        for length in 0..40_u8 {
            let field: Vec<u8> = (0..length).map(|i| i.wrapping_mul(37) ^ length).collect();
            assert_eq!(check(&[&field, &check(&[&field]).to_be_bytes()]), 0);
        }
    }
}
