//! Chance that comes out the same for one seed, so that a failing run can be run again.

use uuid::Uuid;

/// Names the environment variable that a seed is taken from.
const SEED: &str = "WEIGHHOUSE_TEST_SEED";

/// Numbers by SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
/// generators", 2014).
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn from_seed(seed: u64) -> Chance {
        Chance(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From `from`, and below `to`.
    pub(crate) fn between(&mut self, from: i64, to: i64) -> i64 {
        from + (self.next() % u64::try_from(to - from).unwrap()) as i64
    }

    /// Once in `n` times.
    pub(crate) fn once_in(&mut self, n: i64) -> bool {
        self.between(0, n) == 0
    }

    /// One of several.
    pub(crate) fn one_of<'a, T>(&mut self, several: &'a [T]) -> Option<&'a T> {
        let count = i64::try_from(several.len()).unwrap();
        (count > 0).then(|| &several[self.between(0, count) as usize])
    }

    /// A request id.
    pub(crate) fn id(&mut self) -> String {
        let (high, low) = (self.next().to_be_bytes(), self.next().to_be_bytes());
        let bytes: Vec<u8> = high.into_iter().chain(low).collect();
        uuid::Builder::from_random_bytes(bytes.try_into().unwrap())
            .into_uuid()
            .to_string()
    }
}

/// The seeds to run: the one asked for, else `usual`; each is printed.
pub(crate) fn seeds(usual: &[u64]) -> Vec<u64> {
    match std::env::var(SEED) {
        Ok(asked) => vec![asked.parse().unwrap()],
        Err(_) => usual.to_vec(),
    }
}

/// Says which seed a run has, so that it can be asked for again.
pub(crate) fn begin(seed: u64) -> Chance {
    println!("{SEED}={seed}");
    Chance::from_seed(seed)
}

/// A seed that nobody chose.
pub(crate) fn any_seed() -> u64 {
    Uuid::new_v4().as_u64_pair().0 >> 11
}
