//! How much faster the separators are than the drive turns.
//!
//! Prints the ratio for a whole track of random data in MFM: 100 000 channel bits of 2 µs, which a
//! drive gives in 200 ms. The best of many rounds counts: all else is other programs' noise.

use std::hint::black_box;
use std::time::{Duration, Instant};
use trackproof_contract::ChannelBits;
use trackproof_model::code::{Before, mfm_fast};
use trackproof_model::separator::waveform::{Grid, JUDGED};
use trackproof_model::separator::{Period, Tracking, ideal_grid, ideal_interval};

const TRACK_BYTES: usize = 6_250;
const TURN: Duration = Duration::from_millis(200);
const ROUNDS: usize = 200;

fn compare(name: &str, mut work: impl FnMut() -> ChannelBits) {
    let round = |_| {
        let start = Instant::now();
        drop(black_box(work()));
        start.elapsed()
    };
    let best: Duration = (0..ROUNDS).map(round).min().unwrap_or_default();
    println!("{name}: {best:?}, {:.0} times the drive", TURN.as_secs_f64() / best.as_secs_f64());
}

fn main() {
    let data: Vec<u8> = (0..TRACK_BYTES).map(|i| (i * i / 7) as u8).collect();
    let mut track = ChannelBits::new();
    mfm_fast::encode(Before::Zero, &data, &mut track);
    let period = Period::from_ns(2_000).expect("inside the limits");
    for waveform in [JUDGED[2], JUDGED[9]] {
        let grid = Grid::new(period, waveform.speed, track.len());
        let times = grid.transitions(&track, waveform.peak_shift);
        println!("{}, {} transitions", waveform.name, times.len());
        compare("ideal grid", || ideal_grid(period, 0, &times).expect("in order"));
        compare("ideal interval", || ideal_interval(period, &times).expect("in order"));
        let tracking = Tracking::new(period);
        compare("tracking", || tracking.separate(&times).expect("in order"));
    }
}
