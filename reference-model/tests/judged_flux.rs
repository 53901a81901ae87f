//! What a separator is judged by: the tracking one gives all of it, and every stretch is what its
//! definition makes it.

mod random;

use trackproof_contract::{ChannelBits, Flux, Profile, Recording, Speed, Splice};
use trackproof_model::separator::judged::{Before, Judged, Stretch};
use trackproof_model::separator::{Alignment, Period, Tracking};

/// Numbers at random.
struct Numbers(std::vec::IntoIter<u8>);

impl Numbers {
    fn new(seed: u64) -> Self {
        Self(random::bytes(seed, 40_000).into_iter())
    }

    fn below(&mut self, limit: u32) -> u32 {
        let mut byte = || u32::from(self.0.next().expect("enough of them"));
        (byte() << 16 | byte() << 8 | byte()) % limit
    }

    fn within(&mut self, from: i32, to: i32) -> i32 {
        from + self.below((to - from + 1) as u32) as i32
    }
}

/// Legal flux of at least `count` channel bits behind what is there.
fn legal(numbers: &mut Numbers, recording: Recording, count: usize, bits: &mut ChannelBits) {
    let end = bits.len() + count;
    // Of one interval alone, or of all.
    let only = numbers.below(3) == 0;
    let (least, kinds) = if recording == Recording::Mfm { (2, 3) } else { (1, 2) };
    let one = least + numbers.below(kinds);
    while bits.len() < end {
        let interval = if only { one } else { least + numbers.below(kinds) };
        bits.push(1, interval as usize);
    }
}

fn zeros(count: usize, bits: &mut ChannelBits) {
    (0..count / 2).for_each(|_| bits.push(0b01, 2));
}

fn draw(seed: u64, recording: Recording) -> Flux {
    let mut numbers = Numbers::new(seed);
    let mut bits = ChannelBits::new();
    bits.push(1, 1);
    let mut splices = Vec::new();
    let mfm = recording == Recording::Mfm;
    let kind = numbers.below(5);
    let shift = if mfm && numbers.below(2) == 0 { numbers.below(101) as u16 } else { 0 };
    let speed = match kind {
        0 | 4 => Speed::Even { off_ppm: numbers.within(-30_000, 30_000) },
        1 => Speed::Step { to_ppm: numbers.within(-108_000, 112_000) },
        2 => Speed::Ramp { to_ppm: numbers.within(-108_000, 112_000) },
        _ => Speed::Sinusoid {
            base_ppm: numbers.within(-30_000, 30_000),
            swing_ppm: numbers.within(0, 80_000),
        },
    };
    if kind != 0 && kind != 4 {
        zeros(400, &mut bits);
        let count = 200 + numbers.below(3_000) as usize;
        legal(&mut numbers, recording, count, &mut bits);
    } else {
        for _ in 0..=numbers.below(5) {
            let count = numbers.below(900) as usize;
            legal(&mut numbers, recording, count, &mut bits);
            if numbers.below(2) == 0 {
                // The next transition comes late.
                let gap = 5 + numbers.below(600) as usize;
                bits.push(0, gap % 64);
                (0..gap / 64).for_each(|_| bits.push(0, 64));
                bits.push(1, 1);
            } else {
                splices.push(Splice {
                    cell: bits.len() as u32,
                    moved: numbers.within(-500, 500) as i16,
                });
            }
            zeros(98 + 2 * numbers.below(60) as usize, &mut bits);
        }
        legal(&mut numbers, recording, 300, &mut bits);
    }
    let peak_shift = if matches!(speed, Speed::Step { .. }) { 0 } else { shift };
    Flux { bits, speed, peak_shift, displaced: Vec::new(), splices }
}

#[test]
fn the_tracking_separator_gives_all_that_is_judged() {
    let (mut judged, mut alignment) = (Judged::default(), Alignment::default());
    let mut stretches = [0_u64; 2];
    for seed in 0..4_000 {
        let recording = if seed % 3 == 0 { Recording::Fm } else { Recording::Mfm };
        let profile = Profile { recording, ..Profile::sync_dma() };
        let flux = draw(seed, recording);
        flux.validate().unwrap();
        judged.lay_out(&profile, &flux);
        let period = Period::from_ns(profile.channel_bit_ns.into()).unwrap();
        let came = Tracking::new(period).separate(judged.times_ns()).unwrap();
        for stretch in judged.stretches() {
            stretches[usize::from(stretch.before == Before::Disturbance)] += 1;
        }
        let held = alignment.hold(&flux.bits, judged.stretches(), &came);
        assert_eq!(held, Ok(()), "seed {seed}: {:?}, {}", flux.speed, flux.peak_shift);
    }
    assert!(stretches.iter().all(|count| *count > 1_000), "{stretches:?}");
}

/// The stretches in the words of their definition, a transition at a time.
fn by_definition(profile: &Profile, flux: &Flux) -> Vec<Stretch> {
    let ones: Vec<usize> = (0..flux.bits.len()).filter(|bit| flux.bits.get(*bit)).collect();
    let lock_bits = usize::from(profile.lock_bits);
    let longest = if profile.recording == Recording::Mfm { 4 } else { 2 };
    let shortest = if profile.recording == Recording::Mfm { 2 } else { 1 };
    let disturbed = |at: usize| {
        let (from, to) = (ones[at - 1], ones[at]);
        let spliced = flux.splices.iter().any(|one| (from + 1..=to).contains(&(one.cell as usize)));
        spliced || !(shortest..=longest).contains(&(to - from))
    };
    // Whether a field of zeros from one transition to another is long enough.
    let field = |from: usize, to: usize| {
        ones[to] - ones[from] >= lock_bits
            && (from + 1..=to).all(|at| ones[at] - ones[at - 1] == 2 && !disturbed(at))
    };
    let before = |at: usize| -> Option<Before> {
        match (1..=at).rev().find(|at| disturbed(*at)) {
            None => (ones[at] - ones[0] >= lock_bits).then_some(Before::Start),
            Some(last) => (last..=at)
                .any(|to| (last..to).any(|from| field(from, to)))
                .then_some(Before::Disturbance),
        }
    };
    let mut stretches: Vec<Stretch> = Vec::new();
    for (at, bit) in ones.iter().copied().enumerate() {
        let Some(of) = before(at) else { continue };
        match stretches.last_mut().filter(|_| !disturbed(at)) {
            Some(stretch) if stretch.end == ones[at - 1] + 1 => stretch.end = bit + 1,
            _ => stretches.push(Stretch { first: bit, end: bit + 1, before: of }),
        }
    }
    stretches
}

#[test]
fn stretches_are_what_their_definition_makes_them() {
    let mut judged = Judged::default();
    let mut found = 0;
    for seed in 0..600 {
        let mut numbers = Numbers::new(seed);
        let recording = if seed % 2 == 0 { Recording::Fm } else { Recording::Mfm };
        // Short fields are enough, so that much happens in a short flux; no speed that leaves the
        // window's limits, and a splice leaves transitions where they belong.
        let profile = Profile { recording, lock_bits: 9, ..Profile::sync_dma() };
        let mut bits = ChannelBits::new();
        let mut splices: Vec<Splice> = Vec::new();
        while bits.len() < 400 {
            match numbers.below(6) {
                0 => bits.push(1, 1 + numbers.below(9) as usize),
                1 => splices.push(Splice { cell: 1 + bits.len() as u32, moved: 100 }),
                2 => legal(&mut numbers, recording, 12, &mut bits),
                _ => zeros(numbers.below(16) as usize, &mut bits),
            }
            splices.dedup_by_key(|splice| splice.cell);
        }
        bits.push(1, 2);
        splices.retain(|splice| (splice.cell as usize) < bits.len());
        let flux = Flux {
            bits,
            speed: Speed::Even { off_ppm: 0 },
            peak_shift: 0,
            displaced: Vec::new(),
            splices,
        };
        flux.validate().unwrap();
        judged.lay_out(&profile, &flux);
        assert_eq!(judged.stretches(), by_definition(&profile, &flux), "seed {seed}");
        found += judged.stretches().len();
    }
    assert!(found > 1_000, "{found}");
}

#[test]
fn what_is_outside_of_the_standards_limits_is_not_judged() {
    let mut judged = Judged::default();
    let mut bits = ChannelBits::new();
    zeros(600, &mut bits);
    let mut count = |recording, speed, peak_shift, bits: &ChannelBits| {
        let profile = Profile { recording, ..Profile::sync_dma() };
        let flux = Flux {
            bits: bits.clone(),
            speed,
            peak_shift,
            displaced: Vec::new(),
            splices: Vec::new(),
        };
        judged.lay_out(&profile, &flux);
        judged.stretches().len()
    };
    let (mfm, fm) = (Recording::Mfm, Recording::Fm);
    for (speed, inside) in [
        (Speed::Even { off_ppm: 30_000 }, 1),
        (Speed::Even { off_ppm: -30_001 }, 0),
        (Speed::Step { to_ppm: 112_000 }, 0),
        (Speed::Ramp { to_ppm: 112_001 }, 0),
        (Speed::Sinusoid { base_ppm: 30_001, swing_ppm: 0 }, 0),
        (Speed::Sinusoid { base_ppm: 0, swing_ppm: 80_001 }, 0),
    ] {
        // All but an even speed want a field that begins with the flux, and this one does not.
        assert_eq!(count(mfm, speed, 0, &bits), inside, "{speed:?}");
    }
    let mut begun = ChannelBits::new();
    (0..300).for_each(|_| begun.push(0b10, 2));
    for (recording, speed, shift, inside) in [
        (mfm, Speed::Ramp { to_ppm: -108_000 }, 100, 1),
        (mfm, Speed::Ramp { to_ppm: -108_001 }, 100, 0),
        (mfm, Speed::Ramp { to_ppm: -108_000 }, 101, 0),
        (mfm, Speed::Step { to_ppm: 112_000 }, 0, 1),
        (mfm, Speed::Step { to_ppm: 112_000 }, 1, 0),
        (fm, Speed::Sinusoid { base_ppm: -30_000, swing_ppm: 80_000 }, 0, 1),
        (fm, Speed::Sinusoid { base_ppm: -30_000, swing_ppm: 80_000 }, 1, 0),
    ] {
        assert_eq!(count(recording, speed, shift, &begun), inside, "{speed:?} {shift}");
    }
}

#[test]
fn stretches_are_found_near_their_places_and_nowhere_else() {
    let mut numbers = Numbers::new(1);
    let (mut written, mut alignment) = (ChannelBits::new(), Alignment::default());
    legal(&mut numbers, Recording::Mfm, 400, &mut written);
    let stretches = [
        Stretch { first: 40, end: 200, before: Before::Start },
        Stretch { first: 280, end: 380, before: Before::Disturbance },
    ];
    let part = |from: usize, to: usize| (from..to).map(|bit| written.get(bit)).collect::<Vec<_>>();
    let of = |parts: &[Vec<bool>]| parts.concat().into_iter().collect::<ChannelBits>();
    let junk = |count: usize| vec![false; count];
    // Between the two stand 80 channel bits, of which a quarter and two may be too many or missing.
    for (between, found) in [(80, true), (102, true), (103, false), (58, true), (57, false)] {
        let came = of(&[part(0, 200), junk(between), part(280, 380)]);
        let held = alignment.hold(&written, &stretches, &came);
        assert_eq!(held.is_ok(), found, "{between} between them");
        if let Err(misread) = held {
            assert_eq!(misread.stretch, stretches[1]);
        }
    }
    // A bit lost in the first one: from there on, or before where what follows is alike.
    let came = of(&[part(0, 120), part(121, 400)]);
    let misread = alignment.hold(&written, &stretches, &came).unwrap_err();
    assert_eq!(misread.stretch, stretches[0]);
    assert!((118..=124).contains(&misread.cell), "{misread:?}");
    assert_eq!(misread.place, misread.cell);
    // It ends too early.
    let came = of(&[part(0, 150)]);
    let misread = alignment.hold(&written, &stretches, &came).unwrap_err();
    assert_eq!((misread.cell, misread.place), (150, 150));
    assert_eq!(misread.right(), 110);
    assert!(alignment.hold(&written, &stretches, &ChannelBits::new()).is_err());
    // What comes behind the last one is not asked for.
    assert_eq!(alignment.hold(&written, &stretches, &of(&[part(0, 380)])), Ok(()));
}
