//! What the best plan costs in time and memory, where there is very much to plan.
//!
//! Three kinds of problem with 10,000 supplies, 200 rooms and all 2 million pairs allowed,
//! each solved in a process of its own, which says how long reading and solving took, how
//! much of the solving was on a processor (other work on the machine makes the rest), and
//! the most memory it had (`VmHWM`):
//!
//! - `scattered`: each pair has a value of its own, as if every lot were priced by hand;
//! - `priced`: a room's price times the supply's quality, and a little of its own, so that
//!   everybody wants the same rooms;
//! - `alike`: twelve kinds of fish, each worth the same in a room whatever the lot, as fish
//!   is; days of age and ids decide.
//!
//! Rooms take nine tenths of what there is, a fifth of that is committed. With
//! `WEIGHHOUSE_BENCH_PYTHON` naming a Python that has ortools, `allot.py` has its
//! SimpleMinCostFlow solve the same problem, written to a file, on the first three lines
//! of what is best (committed, kept, money) packed into one cost of 64 bits; both must come
//! to the same sums. Ours does more (age, ids, and that the plan is the only one), and so
//! does more than is compared.
//!
//! Last, a buyer's day: 100 supplies and 20 rooms, solved again with each pair forbidden.
//!
//! Only ratios of one run count. Nothing is gated.
//!
//! `cargo bench -p rules --bench allot`, with
//!
//! - `WEIGHHOUSE_BENCH_PYTHON=python3` for an interpreter that has ortools,
//! - `WEIGHHOUSE_BENCH_ROUNDS=5` for more rounds than one.

#![expect(clippy::unwrap_used, reason = "a benchmark may panic")]

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use rules::allot::{Problem, Room, Score, Supply};

const SUPPLIES: usize = 10_000;
const ROOMS: usize = 200;
const KINDS: [&str; 3] = ["scattered", "priced", "alike"];

/// Names the kind to solve, in a process of its own.
const ALONE: &str = "WEIGHHOUSE_BENCH_ALONE";

fn main() {
    if let Ok(kind) = std::env::var(ALONE) {
        return alone(&kind);
    }
    let rounds = std::env::var("WEIGHHOUSE_BENCH_ROUNDS").map_or(1, |n| n.parse().unwrap());
    let python = std::env::var_os("WEIGHHOUSE_BENCH_PYTHON");
    println!("{SUPPLIES} supplies, {ROOMS} rooms, all pairs; seconds, MiB at most");
    println!(
        "{:<12}{:<10}{:>9}{:>9}{:>9}{:>9}",
        "", "", "reading", "solving", "on CPU", "memory"
    );
    for kind in KINDS {
        for _ in 0..rounds {
            let ours = run(Command::new(std::env::current_exe().unwrap()).env(ALONE, kind));
            print_row(kind, "ours", &ours);
            let Some(python) = &python else {
                continue;
            };
            let file = std::env::temp_dir().join(format!("allot-{}", std::process::id()));
            write(&Made::of(kind, SUPPLIES, ROOMS), &file);
            let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/allot.py");
            let theirs = run(Command::new(python).arg(script).arg(&file));
            std::fs::remove_file(&file).unwrap();
            print_row(kind, "ortools", &theirs);
            assert_eq!(ours.sums, theirs.sums, "committed, kept, money");
        }
    }
    a_day();
}

/// What a solver said of itself.
struct Ran {
    reading: f64,
    solving: f64,
    on_cpu: f64,
    memory_kib: f64,
    sums: [i64; 3],
    /// What it says beside.
    beside: String,
}

/// Runs a solver; its last line is reading, solving, on CPU, memory, committed, kept, money.
fn run(command: &mut Command) -> Ran {
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}{errors}");
    let words: Vec<&str> = said.lines().last().unwrap().split(' ').collect();
    Ran {
        reading: words[0].parse().unwrap(),
        solving: words[1].parse().unwrap(),
        on_cpu: words[2].parse().unwrap(),
        memory_kib: words[3].parse().unwrap(),
        sums: [4, 5, 6].map(|n: usize| words[n].parse().unwrap()),
        beside: errors.trim().to_owned(),
    }
}

fn print_row(kind: &str, whose: &str, ran: &Ran) {
    println!(
        "{kind:<12}{whose:<10}{:>9.3}{:>9.3}{:>9.3}{:>9.1}  {}",
        ran.reading,
        ran.solving,
        ran.on_cpu,
        ran.memory_kib / 1024.0,
        ran.beside
    );
}

fn alone(kind: &str) {
    let made = Made::of(kind, SUPPLIES, ROOMS);
    let started = Instant::now();
    let problem = made.problem();
    let reading = started.elapsed().as_secs_f64();
    let (started, before) = (Instant::now(), on_cpu());
    let plan = problem.solve();
    let (solving, on_cpu) = (started.elapsed().as_secs_f64(), on_cpu() - before);
    let Score {
        committed,
        kept,
        money,
        ..
    } = plan.score;
    let memory = memory_kib();
    println!("{reading} {solving} {on_cpu} {memory} {committed} {kept} {money}");
}

/// Seconds that this process, which has one thread, was on a processor.
fn on_cpu() -> f64 {
    let said = std::fs::read_to_string("/proc/self/schedstat").unwrap();
    let nanoseconds: f64 = said.split(' ').next().unwrap().parse().unwrap();
    nanoseconds / 1e9
}

/// The most memory this process ever had.
fn memory_kib() -> i64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let most = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .unwrap();
    most.trim().trim_end_matches(" kB").parse().unwrap()
}

fn a_day() {
    let made = Made::of("priced", 100, 20);
    let problem = made.problem();
    let best = problem.solve().score;
    let started = Instant::now();
    let mut dearest = 0;
    for supply in 0..100 {
        for room in 0..20 {
            let without = problem.with_forbidden(supply, room).unwrap().solve();
            dearest = dearest.max(best.less(without.score).money);
        }
    }
    let each = started.elapsed().as_secs_f64() / 2000.0;
    println!(
        "100 supplies, 20 rooms, each pair forbidden in turn: {:.0} a second (the dearest costs {dearest})",
        1.0 / each
    );
}

/// A problem made up; values are worked out when asked.
struct Made {
    supplies: Vec<Supply<usize>>,
    rooms: Vec<Room<usize>>,
    kind: String,
    /// By supply, by room.
    quality: Vec<i64>,
    price: Vec<i64>,
}

impl Made {
    fn of(kind: &str, supplies: usize, rooms: usize) -> Made {
        let mut state = 20_310_502;
        let mut between = |from: i64, to: i64| {
            state = mixed(state);
            from + (state % (to - from) as u64) as i64
        };
        let quality = (0..supplies).map(|_| between(50, 100)).collect();
        let price = (0..rooms).map(|_| between(100, 1000)).collect();
        let supplies: Vec<Supply<usize>> = (0..supplies)
            .map(|id| Supply {
                id,
                divisions: between(1, 200),
                age: between(0, 6),
            })
            .collect();
        let all: i64 = supplies.iter().map(|supply| supply.divisions).sum();
        let parts: Vec<i64> = (0..rooms).map(|_| between(20, 200)).collect();
        let whole: i64 = parts.iter().sum();
        let room = |(id, part): (usize, &i64)| {
            let capacity = all * 9 / 10 * part / whole;
            Room {
                id,
                committed: capacity / 5,
                capacity,
            }
        };
        Made {
            rooms: parts.iter().enumerate().map(room).collect(),
            supplies,
            kind: kind.to_owned(),
            quality,
            price,
        }
    }

    fn value(&self, supply: usize, room: usize) -> i64 {
        let own = |a: usize, b: usize, of: u64| (mixed((a * 1000 + b) as u64) % of) as i64;
        match self.kind.as_str() {
            "scattered" => own(supply, room, 2000),
            "priced" => self.price[room] * self.quality[supply] / 100 + own(supply, room, 60),
            "alike" => self.price[room] + own(supply % 12, room, 400),
            other => panic!("no kind {other}"),
        }
    }

    fn problem(&self) -> Problem {
        Problem::new(&self.supplies, &self.rooms, |supply, room| {
            Some(self.value(supply, room))
        })
        .unwrap()
    }
}

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators",
/// 2014).
fn mixed(state: u64) -> u64 {
    let mut z = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// Numbers of 64 bits: how many supplies and rooms, divisions, committed, capacity,
/// values by supply.
fn write(made: &Made, file: &Path) {
    let mut numbers = vec![made.supplies.len() as i64, made.rooms.len() as i64];
    numbers.extend(made.supplies.iter().map(|supply| supply.divisions));
    numbers.extend(made.rooms.iter().map(|room| room.committed));
    numbers.extend(made.rooms.iter().map(|room| room.capacity));
    for supply in 0..made.supplies.len() {
        numbers.extend((0..made.rooms.len()).map(|room| made.value(supply, room)));
    }
    let bytes: Vec<u8> = numbers.iter().flat_map(|n| n.to_le_bytes()).collect();
    std::fs::write(file, bytes).unwrap();
}
