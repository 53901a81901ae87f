//! How much faster the MFM kernel is than the plain loops that define it.
//!
//! Prints rates and their ratio for a whole track of data; the ratio is what carries from one
//! machine to another. The best of many rounds counts: all else is other programs' noise.

use std::hint::black_box;
use std::time::{Duration, Instant};
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{self, Before, mfm_fast};

const TRACK_BYTES: usize = 6_250;
const ROUNDS: usize = 400;

fn best(mut work: impl FnMut()) -> Duration {
    let round = |_| {
        let start = Instant::now();
        work();
        start.elapsed()
    };
    (0..ROUNDS).map(round).min().unwrap_or_default()
}

fn compare(name: &str, plain: impl FnMut(), fast: impl FnMut()) {
    let rate = |time: Duration| TRACK_BYTES as f64 / time.as_secs_f64() / 1e6;
    let (plain, fast) = (rate(best(plain)), rate(best(fast)));
    println!("{name}: plain {plain:.0} MB/s, fast {fast:.0} MB/s, ratio {:.1}", fast / plain);
}

fn main() {
    let data: Vec<u8> = (0..TRACK_BYTES).map(|i| (i * i / 7) as u8).collect();
    let mut track = ChannelBits::new();
    mfm_fast::encode(Before::Zero, &data, &mut track);
    let (mut slow, mut quick) = (ChannelBits::new(), ChannelBits::new());
    compare(
        "encode",
        || {
            slow.clear();
            code::encode(Recording::Mfm, Before::Zero, black_box(&data), &mut slow);
        },
        || {
            quick.clear();
            mfm_fast::encode(Before::Zero, black_box(&data), &mut quick);
        },
    );
    assert_eq!(slow, quick);
    compare(
        "decode",
        || drop(black_box(code::decode(black_box(&track), 0, TRACK_BYTES))),
        || drop(black_box(mfm_fast::decode(black_box(&track), 0, TRACK_BYTES))),
    );
    compare(
        "regenerate clocks",
        || drop(black_box(code::regenerate_clocks(Recording::Mfm, black_box(&track), &[]))),
        || drop(black_box(mfm_fast::regenerate_clocks(black_box(&track), &[]))),
    );
    let time = best(|| drop(black_box(code::free_on_real(Recording::Mfm, black_box(&track)))));
    let rate = track.len() as f64 / time.as_secs_f64() / 1e6;
    println!("what is free on a real medium: {rate:.0} M channel bits/s of a legal track");
    let noise = ChannelBits::from_bytes(&data.repeat(2), 16 * TRACK_BYTES);
    let time = best(|| drop(black_box(code::free_on_real(Recording::Mfm, black_box(&noise)))));
    let rate = noise.len() as f64 / time.as_secs_f64() / 1e6;
    println!("what is free on a real medium: {rate:.0} M channel bits/s of arbitrary ones");
}
