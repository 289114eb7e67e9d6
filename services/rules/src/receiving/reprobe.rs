//! Probing warm fish again: it is cold now, or it is held.

use super::{ReceivingSettings, warmest};
use crate::ids::LotCode;
use crate::ticket::{Notice, NoticeKind, Temperature};

/// What was read when a lot was probed again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReprobeAsked {
    /// The lot.
    pub lot: LotCode,
    /// At least one.
    pub probes: Vec<Temperature>,
    /// Ice around the fish.
    pub ice_around: Option<bool>,
    /// As written.
    pub note: String,
    /// Microseconds since 1970 UTC; absent is now.
    pub happened_us: Option<i64>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reprobed {
    /// At or below the limit.
    pub passed: bool,
    /// The warmest probe.
    pub warmest: Temperature,
    /// The limit it was held against.
    pub limit: Temperature,
    /// What to do.
    pub notices: Vec<Notice>,
}

/// Judges a lot that was probed again: the warmest decides, exactly the limit
/// passes. Nothing where there is no probe.
#[must_use]
pub fn reprobe(asked: &ReprobeAsked, settings: &ReceivingSettings) -> Option<Reprobed> {
    let limit = settings.cold_limit();
    let warmest = warmest(&asked.probes)?.clone();
    let passed = !warmest.is_above(&limit);
    let notices = if passed {
        Vec::new()
    } else {
        let text = format!(
            "{warmest} is still above {limit}: hold lot {}, and ice it. It goes to nobody until it \
             is cold.",
            asked.lot
        );
        vec![Notice::of(NoticeKind::Warning, "hold_it", text)]
    };
    Some(Reprobed {
        passed,
        warmest,
        limit,
        notices,
    })
}
