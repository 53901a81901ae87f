//! How fast a campaign generates, dispatches and judges, beside the general way to do the same.
//!
//! Ours: cases of the generator, run on a rig that replays prepared observations, and judged. The
//! other: a `proptest-state-machine` test whose transitions are our operations on media of its own
//! strategies, with the same kind of rig and the same judge at the end of each case. Both mixes
//! have a mean of 16 operations and 1 024 channel bits of track. The bars: ten times the rate, and
//! no heap allocation in the steady state. The best of many rounds counts: all else is other
//! programs' noise. The ratio is what carries from one machine to another.

use proptest::collection::vec;
use proptest::prelude::{BoxedStrategy, Just, Strategy, any, prop_oneof};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest};
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::RefCell;
use std::fmt;
use std::process::ExitCode;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use trackproof::examine::Examiner;
use trackproof::generate::{Generator, SeededChoices, case_seed};
use trackproof::judge::Judge;
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Capabilities, Case, ChangeClear, ChannelBits, Direction, DriveBench, HostService,
    Medium, Observation, Operation, Profile, Rig, RigError, Stall, Start, Track, timeline,
};
use trackproof_model::reach::{Point, ReachCounts};
use trackproof_samples::OpenSample;

const SEED: u64 = 1;
/// Cases of our mix.
const CASES: usize = 4_000;
/// Cases of the other, which takes longer.
const OTHER_CASES: usize = 1_000;
const MEAN_OPERATIONS: i64 = 16;
const MEAN_TRACK_BITS: i64 = 1_024;
/// How far the sums of a mix may stray from the means while it is chosen: a few cases' worth.
const STRAY_OPERATIONS: i64 = 4 * MEAN_OPERATIONS;
const STRAY_TRACK_BITS: i64 = 8 * MEAN_TRACK_BITS;
const ROUNDS: usize = 12;
const OTHER_ROUNDS: usize = 4;
/// The rate's bar, as a ratio.
const LEAST_RATIO: f64 = 10.0;
/// A point that fewer cases of our mix reach is listed.
const SELDOM: u64 = 20;

/// The system's allocator, counting.
struct Counting;

static ALLOCATIONS: AtomicU64 = AtomicU64::new(0);

// SAFETY: every call goes to the system's allocator as it came; counting touches no memory of it.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ALLOCATIONS.fetch_add(1, Ordering::Relaxed);
        // SAFETY: the caller keeps alloc's rules, which are the same.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        // SAFETY: the pointer came from the system's allocator with this layout.
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        ALLOCATIONS.fetch_add(1, Ordering::Relaxed);
        // SAFETY: the pointer came from the system's allocator with this layout.
        unsafe { System.realloc(pointer, layout, size) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// What `work` allocates.
fn allocations(work: impl FnOnce()) -> u64 {
    let before = ALLOCATIONS.load(Ordering::Relaxed);
    work();
    ALLOCATIONS.load(Ordering::Relaxed) - before
}

/// The shortest of some rounds.
fn best(rounds: usize, mut work: impl FnMut()) -> Duration {
    let round = |_| {
        let start = Instant::now();
        work();
        start.elapsed()
    };
    (0..rounds).map(round).min().unwrap_or_default()
}

/// What a round of cases takes.
struct Measured {
    cases: usize,
    /// Cases a second.
    rate: f64,
    /// Allocations of one round.
    allocated: u64,
}

impl Measured {
    fn of(cases: usize, rounds: usize, mut round: impl FnMut()) -> Self {
        let allocated = allocations(&mut round);
        let rate = cases as f64 / best(rounds, round).as_secs_f64();
        Self { cases, rate, allocated }
    }
}

impl fmt::Display for Measured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let each = self.allocated as f64 / self.cases as f64;
        write!(f, "{:>10.0}/s {each:>8.2} allocations", self.rate)
    }
}

/// A rig that gives back what was observed before, run by run, from the begin again at the end.
struct Replay {
    capabilities: Capabilities,
    observations: Vec<Observation>,
    next: usize,
}

impl Rig for Replay {
    fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    fn profile(&self) -> Option<Profile> {
        None
    }

    fn run(&mut self, _: &Case, observation: &mut Observation) -> Result<(), RigError> {
        observation.clear();
        observation.items.extend_from_slice(&self.observations[self.next].items);
        self.next = (self.next + 1) % self.observations.len();
        Ok(())
    }

    fn reset(&mut self) -> Result<(), RigError> {
        Ok(())
    }
}

/// What the cases of a mix are like, on average.
#[derive(Debug, Clone, Copy, Default)]
struct Means {
    cases: f64,
    operations: f64,
    track_bits: f64,
    events: f64,
    items: f64,
}

impl Means {
    fn add(&mut self, case: &Case, observation: &Observation) {
        let mut events = Vec::new();
        timeline(case, &mut events);
        self.cases += 1.0;
        self.operations += case.program.len() as f64;
        self.track_bits += track_bits(case) as f64;
        self.events += events.len() as f64;
        self.items += observation.items.len() as f64;
    }
}

impl fmt::Display for Means {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mean = |sum: f64| sum / self.cases;
        write!(
            f,
            "{:.2} operations, {:.0} channel bits of track, {:.0} events, {:.1} items",
            mean(self.operations),
            mean(self.track_bits),
            mean(self.events),
            mean(self.items)
        )
    }
}

fn track_bits(case: &Case) -> usize {
    case.tracks.iter().map(|track| track.medium.track().len()).sum()
}

/// The indexes of our mix: those cases of the generator that keep the sums close to the means, but
/// for the few that cannot be judged.
fn choose(generator: &mut Generator, examiner: &mut Examiner) -> Vec<u64> {
    let mut case = generator.case(SEED, 0);
    let mut indexes = Vec::with_capacity(CASES);
    let (mut operations, mut bits) = (0, 0);
    for index in 0.. {
        if indexes.len() == CASES {
            break;
        }
        generator.generate(&mut SeededChoices::new(case_seed(SEED, index)), &mut case);
        let more_operations = operations + case.program.len() as i64 - MEAN_OPERATIONS;
        let more_bits = bits + track_bits(&case) as i64 - MEAN_TRACK_BITS;
        let close =
            more_operations.abs() <= STRAY_OPERATIONS && more_bits.abs() <= STRAY_TRACK_BITS;
        let judged = |verdict| !matches!(verdict, Verdict::Inconclusive(_));
        if close && judged(examiner.glance(&case).expect("the sample runs").verdict) {
            (operations, bits) = (more_operations, more_bits);
            indexes.push(index);
        }
    }
    indexes
}

/// Our side: generate, dispatch, judge.
struct Ours {
    generator: Generator,
    case: Case,
    examiner: Examiner,
    indexes: Vec<u64>,
}

impl Ours {
    fn prepare(sample: &OpenSample) -> (Self, Means, ReachCounts) {
        let mut examiner = Examiner::new(Box::new(sample.rig().expect("the sample starts")));
        let mut generator = Generator::limited_to(Profile::sync_dma(), examiner.capabilities());
        let indexes = choose(&mut generator, &mut examiner);
        let (mut means, mut reach) = (Means::default(), ReachCounts::default());
        let mut observations = Vec::with_capacity(CASES);
        for index in &indexes {
            let case = generator.case(SEED, *index);
            let verdict = examiner.glance(&case).expect("the sample runs").verdict;
            assert!(matches!(verdict, Verdict::Conforms), "case {index}: {verdict:?}");
            means.add(&case, examiner.observation());
            reach.add(&examiner.judge().tally().reach);
            observations.push(examiner.observation().clone());
        }
        let capabilities = examiner.capabilities();
        let examiner = Examiner::new(Box::new(Replay { capabilities, observations, next: 0 }));
        let case = generator.case(SEED, 0);
        (Self { generator, case, examiner, indexes }, means, reach)
    }

    fn generate(&mut self) {
        for index in &self.indexes {
            let mut choices = SeededChoices::new(case_seed(SEED, *index));
            self.generator.generate(&mut choices, &mut self.case);
        }
    }

    fn round(&mut self) {
        for index in &self.indexes {
            let mut choices = SeededChoices::new(case_seed(SEED, *index));
            self.generator.generate(&mut choices, &mut self.case);
            let examined = self.examiner.glance(&self.case).expect("a replay runs");
            assert!(matches!(examined.verdict, Verdict::Conforms), "case {index}");
        }
    }
}

/// What the other side's test works with; its functions take no argument for it.
struct Workshop {
    rig: Box<dyn Rig>,
    judge: Judge,
    observation: Observation,
    /// What came back, while observations are prepared.
    recorded: Option<(Vec<Observation>, Means)>,
}

thread_local! {
    static WORKSHOP: RefCell<Option<Workshop>> = const { RefCell::new(None) };
    /// Built once: transitions do not depend on the state.
    static TRANSITIONS: BoxedStrategy<Operation> = operation();
}

/// The drive and its track.
type Place = Rc<(DriveBench, Track)>;

/// The operations of a host, as a state machine without a state.
struct Host;

impl ReferenceStateMachine for Host {
    type State = Place;
    type Transition = Operation;

    fn init_state() -> BoxedStrategy<Place> {
        // 64 bits a draw, which is cheap.
        let bits = vec(any::<u64>(), 1..=32);
        (bits, any::<u32>(), any::<bool>())
            .prop_map(|(words, start, write_protected)| {
                let mut track = ChannelBits::new();
                words.iter().for_each(|word| track.push(*word, 64));
                let turn_bits = track.len() as u32;
                let drive = DriveBench {
                    turn_bits,
                    start_bit: start % turn_bits,
                    cylinder: 0,
                    write_protected,
                    spin_up_ns: 0,
                    change_clear: ChangeClear::Step,
                };
                let medium = Medium::image_bits(track);
                Rc::new((drive, Track { drive: 0, cylinder: 0, side: 0, medium }))
            })
            .boxed()
    }

    fn transitions(_: &Place) -> BoxedStrategy<Operation> {
        TRANSITIONS.with(Clone::clone)
    }

    fn apply(state: Place, _: &Operation) -> Place {
        state
    }
}

/// Any operation, with values of about the sizes that the generator draws.
fn operation() -> BoxedStrategy<Operation> {
    let start = prop_oneof![Just(Start::Now), Just(Start::Match), Just(Start::Index)];
    let stall = (0..500_000_u64, 1..200_000_u64)
        .prop_map(|(from_ns, length_ns)| Stall { from_ns, length_ns });
    let service = (0..64_000_u64, 16_000..64_000_u64, vec(stall, 0..2))
        .prop_map(|(first_ns, interval_ns, stalls)| HostService { first_ns, interval_ns, stalls });
    let direction = prop_oneof![Just(Direction::Out), Just(Direction::In)];
    prop_oneof![
        4 => (1..2_400_000_u64).prop_map(|ns| Operation::Wait { ns }),
        1 => (0..4_u8).prop_map(|mask| Operation::Select { mask: mask.min(1) }),
        1 => (0..4_u8).prop_map(|mask| Operation::Motor { mask: mask.min(1) }),
        1 => (0..2_u8).prop_map(|side| Operation::Side { side }),
        1 => direction.prop_map(|direction| Operation::Step { direction }),
        1 => any::<u16>().prop_map(|word| Operation::SyncWord { word: word.into() }),
        2 => any::<bool>().prop_map(|on| Operation::HardwareSync { on }),
        4 => (0..20_u32, start, service)
            .prop_map(|(words, start, service)| Operation::Read { words, start, service }),
        1 => Just(Operation::Abort),
        3 => Just(Operation::PollStatus),
        1 => any::<u8>().prop_map(|value| Operation::Output { value }),
        1 => Just(Operation::Reset),
        2 => Just(Operation::PollByte),
    ]
    .boxed()
}

/// The test: collects the program and judges it at its end.
struct Other;

impl StateMachineTest for Other {
    type SystemUnderTest = Vec<Operation>;
    type Reference = Host;

    fn init_test(_: &Place) -> Vec<Operation> {
        vec![Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }]
    }

    fn apply(mut program: Vec<Operation>, _: &Place, operation: Operation) -> Vec<Operation> {
        program.push(operation);
        program
    }

    fn teardown(program: Vec<Operation>, place: Place) {
        let (drive, track) = (place.0.clone(), place.1.clone());
        let case = Case {
            profile: Profile::sync_dma(),
            bench: Bench { access_ns: 400, drives: vec![drive] },
            tracks: vec![track],
            program,
            flux: None,
        };
        WORKSHOP.with_borrow_mut(|workshop| {
            let workshop = workshop.as_mut().expect("there is one while a test runs");
            workshop.judge(&case);
        });
    }
}

impl Workshop {
    fn new(rig: Box<dyn Rig>, recorded: Option<(Vec<Observation>, Means)>) -> Self {
        Self { rig, judge: Judge::new(), observation: Observation::new(), recorded }
    }

    fn judge(&mut self, case: &Case) {
        self.rig.run(case, &mut self.observation).expect("it runs");
        let capabilities = self.rig.capabilities();
        let verdict = self.judge.judge(case, &self.observation, capabilities);
        assert!(!matches!(verdict, Verdict::Deviates(_)), "{verdict:?}");
        if let Some((observations, means)) = &mut self.recorded {
            case.validate().expect("strategies make valid cases");
            means.add(case, &self.observation);
            observations.push(self.observation.clone());
        }
    }
}

/// Runs the other side's test, or only makes its values: the same cases each time.
fn other(test: impl Fn(&Config, Place, Vec<Operation>, Option<Arc<AtomicUsize>>)) {
    let config = Config { cases: OTHER_CASES as u32, failure_persistence: None, ..<_>::default() };
    let rng = TestRng::deterministic_rng(RngAlgorithm::XorShift);
    let mut runner = TestRunner::new_with_rng(config.clone(), rng);
    // 14 to 15 on average, and the two that every program begins with.
    runner
        .run(&Host::sequential_strategy(1..=28), |(place, operations, counter)| {
            test(&config, place, operations, counter);
            Ok(())
        })
        .expect("every case conforms");
}

fn other_generate() {
    other(|_, _, _, _| ());
}

fn other_round() {
    other(|config, place, operations, counter| {
        Other::test_sequential(config.clone(), place, operations, counter);
    });
}

/// The other side's observations, prepared, and what its cases are like.
fn prepare_other(sample: &OpenSample) -> Means {
    let rig = Box::new(sample.rig().expect("the sample starts"));
    let capabilities = rig.capabilities();
    let recorded = Some((Vec::new(), Means::default()));
    WORKSHOP.set(Some(Workshop::new(rig, recorded)));
    other_round();
    let workshop = WORKSHOP.take().expect("there was one");
    let (observations, means) = workshop.recorded.expect("it was there before");
    assert_eq!(observations.len(), OTHER_CASES);
    let replay = Replay { capabilities, observations, next: 0 };
    WORKSHOP.set(Some(Workshop::new(Box::new(replay), None)));
    means
}

fn main() -> ExitCode {
    let sample = trackproof_samples::find("sync-dma")
        .and_then(|sample| sample.open(&[]))
        .expect("the sample opens");
    let (mut ours, means, reach) = Ours::prepare(&sample);
    let other_means = prepare_other(&sample);
    println!("our mix    {means}");
    println!("the other  {other_means}");
    let seldom: Vec<String> = Point::all(16, 3)
        .filter(|point| reach.of(*point) < SELDOM)
        .map(|point| format!("{point} {}", reach.of(point)))
        .collect();
    let seldom = if seldom.is_empty() { "none".into() } else { seldom.join(", ") };
    println!("points that fewer than {SELDOM} of our {CASES} cases reach: {seldom}");

    // Once round, so that all memory has its size.
    ours.round();
    let generating = Measured::of(CASES, ROUNDS, || ours.generate());
    let judging = Measured::of(CASES, ROUNDS, || ours.round());
    let other_generating = Measured::of(OTHER_CASES, OTHER_ROUNDS, other_generate);
    let other_judging = Measured::of(OTHER_CASES, OTHER_ROUNDS, other_round);
    println!("                      generate only                generate, dispatch, judge");
    println!("trackproof          {generating}  {judging}");
    println!("state machine test  {other_generating}  {other_judging}");
    let ratio = judging.rate / other_judging.rate;
    println!(
        "ratio               {:>10.1}  {ratio:>38.1}  (bar: {LEAST_RATIO})",
        generating.rate / other_generating.rate
    );
    println!("allocations in {CASES} judged cases: {} (bar: 0)", judging.allocated);
    let allocated = judging.allocated;
    if ratio >= LEAST_RATIO && allocated == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
