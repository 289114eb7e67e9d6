//! What every page has: the desk, and how often it may be asked.

use std::num::NonZeroU32;
use std::sync::Arc;

use desk::{Caller, Desk};
use governor::{DefaultDirectRateLimiter, DefaultKeyedRateLimiter, Quota, RateLimiter};

/// Pages of one key a second, on the average.
const A_SECOND: NonZeroU32 = NonZeroU32::new(20).expect("not zero");
/// Pages of one key at once, after a rest.
const AT_ONCE: NonZeroU32 = NonZeroU32::new(200).expect("not zero");
/// Attempts to sign in a second, of everybody together: what is guessed at is 256
/// random bits, so this bounds the work and not the chance.
const ATTEMPTS_A_SECOND: NonZeroU32 = NonZeroU32::new(10).expect("not zero");
/// Attempts at once, after a rest.
const ATTEMPTS_AT_ONCE: NonZeroU32 = NonZeroU32::new(60).expect("not zero");
/// Keys whose rates are remembered before the quiet ones are forgotten.
const REMEMBERED: usize = 1024;

/// What every page has.
#[derive(Clone)]
pub(crate) struct House {
    pub(crate) desk: Desk,
    /// Reached by TLS.
    pub(crate) is_secure: bool,
    rates: Arc<DefaultKeyedRateLimiter<i64>>,
    attempts: Arc<DefaultDirectRateLimiter>,
}

impl House {
    pub(crate) fn new(desk: Desk, is_secure: bool) -> House {
        let pages = Quota::per_second(A_SECOND).allow_burst(AT_ONCE);
        let attempts = Quota::per_second(ATTEMPTS_A_SECOND).allow_burst(ATTEMPTS_AT_ONCE);
        House {
            desk,
            is_secure,
            rates: Arc::new(RateLimiter::keyed(pages)),
            attempts: Arc::new(RateLimiter::direct(attempts)),
        }
    }

    /// Whether a caller may ask for one more page.
    pub(crate) fn has_time_for(&self, caller: &Caller) -> bool {
        if self.rates.len() > REMEMBERED {
            self.rates.retain_recent();
        }
        self.rates.check_key(&caller.key).is_ok()
    }

    /// Whether somebody may try to sign in.
    pub(crate) fn may_try(&self) -> bool {
        self.attempts.check().is_ok()
    }
}
