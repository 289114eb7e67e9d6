//! Chance from a seed: the same seed is the same season, on any machine.
//!
//! SplitMix64 (Steele, Lea and Flood 2014, from memory), so that nothing of what is
//! planted hangs on the version of a library. Nothing here calls a function that a
//! machine may round in its own way.

pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Chance {
        Chance(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 up to 1, which is never reached.
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Anything between, all alike.
    pub(crate) fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// A whole number in `[from, to)`.
    pub(crate) fn whole(&mut self, from: usize, to: usize) -> usize {
        self.between(from as f64, to as f64) as usize
    }

    pub(crate) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Around `mean`: the sum of twelve even chances, near enough to a bell curve and
    /// never more than 6 deviations away.
    pub(crate) fn near(&mut self, mean: f64, deviation: f64) -> f64 {
        let twelve: f64 = (0..12).map(|_| self.unit()).sum();
        mean + deviation * (twelve - 6.0)
    }

    /// One of several.
    pub(crate) fn one_of<T: Copy>(&mut self, several: &[T]) -> T {
        several[self.whole(0, several.len())]
    }
}

#[test]
fn chance_is_splitmix64() {
    // The first numbers of seed 1234567, as commonly published (from memory).
    let mut chance = Chance::new(1_234_567);
    assert_eq!(chance.next(), 6_457_827_717_110_365_317);
    assert_eq!(chance.next(), 3_203_168_211_198_807_973);
}
