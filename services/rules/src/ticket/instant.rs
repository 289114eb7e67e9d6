//! The instant whose price lists a whole ticket uses.
//!
//! It is the first reading: by the book's clock, or by the device's when the
//! ticket was written without signal. It never lies after now, so that no list
//! posted later can come to hold at it.

use super::refusal::Refusal;
use super::{Notice, NoticeKind};

/// A clock may be wrong by this much without being told, microseconds.
const SKEW_US: i64 = 120_000_000;

/// Price instant of a ticket that is taken at `now_us`, and a warning where the
/// sender's clock is off by more than 2 minutes. Instants are microseconds since
/// 1970 UTC.
///
/// With signal the sender's instants are only good for their difference: the
/// first reading was that long before now. A sender that gives only the first
/// reading is taken at its word, and one that gives none means now.
///
/// # Errors
/// [`Refusal`]: sent before the first reading, or a first reading more than 2
/// minutes ahead.
pub fn price_instant(
    first_reading_us: Option<i64>,
    sent_us: Option<i64>,
    offline: bool,
    now_us: i64,
) -> Result<(i64, Option<Notice>), Refusal> {
    if let Some((first, sent)) = first_reading_us.zip(sent_us) {
        let after_us = sent.saturating_sub(first);
        if after_us < 0 {
            return Err(Refusal::SentBeforeFirstReading { after_us });
        }
    }
    let instant_us = match (first_reading_us, sent_us) {
        (Some(first), Some(sent)) if !offline => now_us.saturating_sub(sent.saturating_sub(first)),
        (Some(first), _) => first,
        (None, _) => now_us,
    };
    let ahead_us = instant_us.saturating_sub(now_us);
    if ahead_us > SKEW_US {
        return Err(Refusal::FirstReadingInFuture { ahead_us });
    }
    let skew_us = sent_us.map_or(0, |sent| sent.saturating_sub(now_us));
    let notice = (skew_us.saturating_abs() > SKEW_US).then(|| Notice {
        kind: NoticeKind::Warning,
        code: "clock_skew".to_owned(),
        text: format!(
            "The sender's clock is {} s {} the book's.",
            skew_us.saturating_abs().div_euclid(1_000_000),
            if skew_us < 0 { "behind" } else { "ahead of" },
        ),
        line: 0,
    });
    Ok((instant_us.min(now_us), notice))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_price_instant_is_the_first_reading() {
        const S: i64 = 1_000_000;
        let now = 1_000_000 * S;
        let at = |s: i64| Some(now + s * S);
        // first    sent     offline  instant  skew told
        for (first, sent, offline, instant, told) in [
            (None, None, false, Ok(0), false),
            (None, at(0), false, Ok(0), false),
            (at(-300), at(0), false, Ok(-300), false),
            // The sender's clock is an hour behind: only the difference counts.
            (at(-3900), at(-3600), false, Ok(-300), true),
            (at(3300), at(3600), false, Ok(-300), true),
            (at(0), at(120), false, Ok(-120), false),
            (at(0), at(121), false, Ok(-121), true),
            (at(-120), at(-120), false, Ok(0), false),
            (at(-121), at(-121), false, Ok(0), true),
            (at(-300), None, false, Ok(-300), false),
            // Without signal the device's own clock holds.
            (at(-3900), at(-3600), true, Ok(-3900), true),
            (at(-300), at(0), true, Ok(-300), false),
            (None, None, true, Ok(0), false),
            (at(60), at(60), true, Ok(0), false),
            (at(120), at(120), true, Ok(0), false),
            (
                at(121),
                at(121),
                true,
                Err(Refusal::FirstReadingInFuture { ahead_us: 121 * S }),
                false,
            ),
            (
                at(121),
                None,
                false,
                Err(Refusal::FirstReadingInFuture { ahead_us: 121 * S }),
                false,
            ),
            (
                at(0),
                at(-1),
                false,
                Err(Refusal::SentBeforeFirstReading { after_us: -S }),
                false,
            ),
        ] {
            let case = format!("{first:?} {sent:?} {offline}");
            match price_instant(first, sent, offline, now) {
                Ok((got, notice)) => {
                    assert_eq!(Ok((got - now) / S), instant, "{case}");
                    assert_eq!(notice.is_some(), told, "{case}");
                }
                Err(refusal) => assert_eq!(Err(refusal), instant, "{case}"),
            }
        }
    }
}
