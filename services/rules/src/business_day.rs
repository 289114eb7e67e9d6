//! The business day of a site.
//!
//! A day begins at the first instant at which the site's local clock is at or
//! past the cut-over hour of that date, and ends where the next one begins:
//! `[start, end)`. So each instant has exactly one day and days never run
//! backwards, whatever the local clock does. Zone rules come from the copy inside
//! the program, never from the machine, so two machines never disagree on a day.
//! Which deed belongs to which day is decided by who records it.

use chrono::{Datelike, NaiveDate};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::{AmbiguousOffset, TimeZone, TimeZoneDatabase};

use crate::ids::DayNumber;

/// Latest hour at which a day may turn.
pub const LATEST_CUTOVER_HOUR: u8 = 12;

/// A time of day that lies less than this ahead of the clock is a slip or a wrong clock, and
/// not the one of a day ago.
const SLIP_MINUTES: i64 = 60;
const DAY_MINUTES: i64 = 24 * 60;

/// A site's time zone and the local hour at which its day turns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteClock {
    zone: String,
    cutover_hour: u8,
    rules: TimeZone,
}

/// Why a site's clock cannot stand.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadZone {
    /// No such zone in the IANA database.
    #[error("{0:?} is not a time zone such as America/New_York")]
    NotAZone(String),
    /// The day turns between midnight and noon.
    #[error("the day turns at hour 0 to 12, not {0}")]
    CutoverHour(u8),
}

impl SiteClock {
    /// The clock of a site in the IANA time zone `zone`, whose day turns at
    /// `cutover_hour`, 0 to 12, local time.
    ///
    /// # Errors
    /// [`BadZone`]: no such zone, or no such hour.
    pub fn new(zone: &str, cutover_hour: u8) -> Result<SiteClock, BadZone> {
        let unknown = || BadZone::NotAZone(zone.to_owned());
        let rules = TimeZoneDatabase::bundled()
            .get(zone)
            .map_err(|_| unknown())?;
        let name = rules.iana_name().ok_or_else(unknown)?.to_owned();
        if rules.is_unknown() {
            return Err(unknown());
        }
        if cutover_hour > LATEST_CUTOVER_HOUR {
            return Err(BadZone::CutoverHour(cutover_hour));
        }
        Ok(SiteClock {
            zone: name,
            cutover_hour,
            rules,
        })
    }

    /// Name of the time zone as the IANA database writes it.
    #[must_use]
    pub fn zone(&self) -> &str {
        &self.zone
    }

    /// Local hour at which the day turns.
    #[must_use]
    pub const fn cutover_hour(&self) -> u8 {
        self.cutover_hour
    }

    /// First instant of `day`, microseconds since 1970 UTC.
    ///
    /// A number that is no date never begins: [`i64::MAX`].
    #[must_use]
    pub fn start_us(&self, day: DayNumber) -> i64 {
        civil(day)
            .and_then(|date| self.start(date))
            .map_or(i64::MAX, Timestamp::as_microsecond)
    }

    /// First instant after `day`, where the next day begins.
    #[must_use]
    pub fn end_us(&self, day: DayNumber) -> i64 {
        next_day(day).map_or(i64::MAX, |next| self.start_us(next))
    }

    /// The day to which an instant belongs. Instants out of the calendar belong
    /// to its first or last day.
    #[must_use]
    pub fn day_of(&self, us: i64) -> DayNumber {
        let date = self.rules.to_datetime(instant(us)).date();
        // The clock may have been put back across midnight, so that the next
        // date has begun already while the clock still shows this one.
        let tomorrow = date
            .tomorrow()
            .ok()
            .filter(|&next| self.has_begun(next, us));
        let day = match tomorrow {
            Some(next) => next,
            None if self.has_begun(date, us) => date,
            None => date.yesterday().unwrap_or(date),
        };
        number(
            i64::from(day.year()),
            i64::from(day.month()),
            i64::from(day.day()),
        )
    }

    /// The instant within a business day at which the local clock shows so many minutes
    /// after midnight, 0 to 1440; minutes before the cut-over are of the morning after.
    /// What a clock put forward skips is where it lands, what one put back shows twice is
    /// the first. A number that is no date is never: [`i64::MAX`].
    #[must_use]
    pub fn at_minute_us(&self, day: DayNumber, minute: i64) -> i64 {
        let cutover = i64::from(self.cutover_hour).saturating_mul(60);
        let date = civil(day).and_then(|date| {
            if minute < cutover {
                date.tomorrow().ok()
            } else {
                Some(date)
            }
        });
        date.and_then(|date| self.on_date_us(date, minute))
            .unwrap_or(i64::MAX)
    }

    /// The instant that a time of day, in minutes after midnight, means to somebody who
    /// writes it at `now_us`: of a date that is named with it, else the last one, so that a
    /// time the clock has not shown today is yesterday's. Nothing where it lies ahead: after
    /// now on its date, or up to an hour ahead of the clock without one.
    #[must_use]
    pub fn written_time_us(&self, minute: i64, on: Option<DayNumber>, now_us: i64) -> Option<i64> {
        let date = match on {
            Some(day) => civil(day)?,
            None => {
                let now = self.rules.to_datetime(instant(now_us));
                let hours = i64::from(now.hour()).saturating_mul(60);
                let shown = hours.saturating_add(i64::from(now.minute()));
                let ahead = minute.saturating_sub(shown).rem_euclid(DAY_MINUTES);
                if (1..=SLIP_MINUTES).contains(&ahead) {
                    return None;
                }
                if minute <= shown {
                    now.date()
                } else {
                    now.date().yesterday().ok()?
                }
            }
        };
        self.on_date_us(date, minute).filter(|at| *at <= now_us)
    }

    /// So many minutes after midnight of a date, by the local clock.
    fn on_date_us(&self, date: Date, minute: i64) -> Option<i64> {
        let after_midnight = jiff::SignedDuration::from_mins(minute);
        let at = date.at(0, 0, 0, 0).checked_add(after_midnight).ok()?;
        let instant = self.rules.to_ambiguous_timestamp(at).compatible().ok()?;
        Some(instant.as_microsecond())
    }

    /// The date that the local calendar shows at an instant, whatever the cut-over.
    #[must_use]
    pub fn civil_day(&self, us: i64) -> DayNumber {
        let date = self.rules.to_datetime(instant(us)).date();
        number(
            i64::from(date.year()),
            i64::from(date.month()),
            i64::from(date.day()),
        )
    }

    /// The instant as RFC 3339 with the offset the local clock has then.
    #[must_use]
    pub fn local_rfc3339(&self, us: i64) -> String {
        let instant = instant(us);
        let offset = self.rules.to_offset(instant);
        instant.display_with_offset(offset).to_string()
    }

    /// The date the local clock shows; instants out of the calendar have none.
    #[must_use]
    pub fn date_at(&self, us: i64) -> Option<NaiveDate> {
        let date = self.rules.to_datetime(instant(us)).date();
        date_of(number(
            i64::from(date.year()),
            i64::from(date.month()),
            i64::from(date.day()),
        ))
    }

    fn has_begun(&self, date: Date, us: i64) -> bool {
        self.start(date)
            .is_some_and(|start| start.as_microsecond() <= us)
    }

    /// First instant whose local clock is at or past the cut-over of `date`.
    fn start(&self, date: Date) -> Option<Timestamp> {
        let hour = i8::try_from(self.cutover_hour).ok()?;
        let turn = self.rules.to_ambiguous_timestamp(date.at(hour, 0, 0, 0));
        match turn.offset() {
            AmbiguousOffset::Unambiguous { .. } | AmbiguousOffset::Fold { .. } => {
                turn.earlier().ok()
            }
            AmbiguousOffset::Gap { .. } => {
                // The clock jumps over the cut-over: the day begins with the
                // jump, which is the next change after the earlier reading.
                let before = turn.earlier().ok()?;
                self.rules
                    .following(before)
                    .next()
                    .map(|change| change.timestamp())
            }
        }
    }
}

/// The day as a number: `YYYYMMDD`.
#[must_use]
pub fn day_number(date: NaiveDate) -> DayNumber {
    number(
        i64::from(date.year()),
        i64::from(date.month()),
        i64::from(date.day()),
    )
}

/// The UTC date of an instant: the day of a deed that belongs to no site.
#[must_use]
pub fn utc_day(us: i64) -> DayNumber {
    let date = TimeZone::UTC.to_datetime(instant(us)).date();
    number(
        i64::from(date.year()),
        i64::from(date.month()),
        i64::from(date.day()),
    )
}

/// The date a day number stands for; `None` where it is no date of the years
/// 1000 to 9999.
#[must_use]
pub fn date_of(day: DayNumber) -> Option<NaiveDate> {
    let (year, month, date) = parts(day)?;
    NaiveDate::from_ymd_opt(year, u32::try_from(month).ok()?, u32::try_from(date).ok()?)
}

/// The day after; `None` where `day` is no date, or the last one.
#[must_use]
pub fn next_day(day: DayNumber) -> Option<DayNumber> {
    in_calendar(date_of(day)?.succ_opt()?)
}

/// The day before; `None` where `day` is no date, or the first one.
#[must_use]
pub fn day_before(day: DayNumber) -> Option<DayNumber> {
    in_calendar(date_of(day)?.pred_opt()?)
}

fn in_calendar(date: NaiveDate) -> Option<DayNumber> {
    (1000..=9999)
        .contains(&date.year())
        .then(|| day_number(date))
}

fn number(year: i64, month: i64, day: i64) -> DayNumber {
    year.saturating_mul(10_000)
        .saturating_add(month.saturating_mul(100))
        .saturating_add(day)
}

fn parts(day: DayNumber) -> Option<(i32, i8, i8)> {
    let year = i32::try_from(day.checked_div(10_000)?).ok()?;
    let month = i8::try_from(day.checked_div(100)?.checked_rem(100)?).ok()?;
    let date = i8::try_from(day.checked_rem(100)?).ok()?;
    (1000..=9999).contains(&year).then_some((year, month, date))
}

fn civil(day: DayNumber) -> Option<Date> {
    let (year, month, date) = parts(day)?;
    Date::new(i16::try_from(year).ok()?, month, date).ok()
}

fn instant(us: i64) -> Timestamp {
    Timestamp::from_microsecond(us).unwrap_or(if us < 0 {
        Timestamp::MIN
    } else {
        Timestamp::MAX
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use proptest::prelude::*;

    use super::*;

    fn us(rfc3339: &str) -> i64 {
        rfc3339.parse::<Timestamp>().unwrap().as_microsecond()
    }

    /// Zone transitions are those of the IANA database, 2031 by the rules it
    /// carries forward (from memory, and by its copy in the program).
    #[test]
    fn a_day_begins_when_the_local_clock_is_first_at_or_past_the_cut_over() {
        for (zone, hour, day, start) in [
            // An ordinary day, summer and winter.
            ("America/New_York", 4, 20_310_502, "2031-05-02T08:00:00Z"),
            ("America/New_York", 4, 20_310_102, "2031-01-02T09:00:00Z"),
            ("America/New_York", 0, 20_310_502, "2031-05-02T04:00:00Z"),
            ("America/New_York", 12, 20_310_502, "2031-05-02T16:00:00Z"),
            // Put back from 02:00 to 01:00: 01:00 is there twice, and the first
            // one turns the day.
            ("America/New_York", 1, 20_311_102, "2031-11-02T05:00:00Z"),
            ("America/New_York", 2, 20_311_102, "2031-11-02T07:00:00Z"),
            ("America/New_York", 4, 20_311_102, "2031-11-02T09:00:00Z"),
            // Put forward from 02:00 to 03:00: the clock is past 02:00 at once.
            ("America/New_York", 1, 20_310_309, "2031-03-09T06:00:00Z"),
            ("America/New_York", 2, 20_310_309, "2031-03-09T07:00:00Z"),
            ("America/New_York", 3, 20_310_309, "2031-03-09T07:00:00Z"),
            ("America/New_York", 4, 20_310_309, "2031-03-09T08:00:00Z"),
            // Half-hour offset, and a clock put forward by half an hour.
            ("Asia/Kolkata", 4, 20_310_502, "2031-05-01T22:30:00Z"),
            ("Asia/Kathmandu", 4, 20_310_502, "2031-05-01T22:15:00Z"),
            ("Australia/Lord_Howe", 2, 20_311_005, "2031-10-04T15:30:00Z"),
            ("Australia/Lord_Howe", 3, 20_311_005, "2031-10-04T16:00:00Z"),
            // Midnight jumped over.
            ("America/Sao_Paulo", 0, 20_181_104, "2018-11-04T03:00:00Z"),
            // Put back across midnight: 00:00 is there twice.
            ("America/St_Johns", 0, 20_101_107, "2010-11-07T02:30:00Z"),
            // A date left out: it begins with the jump past it.
            ("Pacific/Apia", 4, 20_111_230, "2011-12-30T10:00:00Z"),
            ("Pacific/Apia", 4, 20_111_231, "2011-12-30T14:00:00Z"),
            ("UTC", 4, 20_310_502, "2031-05-02T04:00:00Z"),
        ] {
            let clock = SiteClock::new(zone, hour).unwrap();
            let got = clock.start_us(day);
            assert_eq!(got, us(start), "{zone} {hour} {day}: {}", instant(got));
            assert_eq!(
                clock.end_us(day_before(day).unwrap()),
                got,
                "{zone} {hour} {day}"
            );
            assert_eq!(clock.day_of(got), day, "{zone} {hour} {day}");
            assert_eq!(
                clock.day_of(got - 1),
                day_before(day).unwrap(),
                "{zone} {hour} {day}"
            );
        }
    }

    #[test]
    fn a_time_of_day_is_the_last_one_and_never_one_that_lies_ahead() {
        let clock = SiteClock::new("America/New_York", 4).unwrap();
        // now                    on        written  is
        for (now, on, written, is) in [
            ("2031-05-02T19:00:30Z", 0, (14, 20), "2031-05-02T18:20:00Z"),
            ("2031-05-02T19:00:30Z", 0, (15, 0), "2031-05-02T19:00:00Z"),
            // Up to an hour ahead it is a slip; beyond it was yesterday.
            ("2031-05-02T19:00:30Z", 0, (15, 1), "ahead"),
            ("2031-05-02T19:00:30Z", 0, (16, 0), "ahead"),
            ("2031-05-02T19:00:30Z", 0, (16, 1), "2031-05-01T20:01:00Z"),
            ("2031-05-02T19:00:30Z", 0, (23, 50), "2031-05-02T03:50:00Z"),
            // Over midnight, either way.
            ("2031-05-02T04:10:00Z", 0, (23, 50), "2031-05-02T03:50:00Z"),
            ("2031-05-02T03:50:00Z", 0, (0, 20), "ahead"),
            ("2031-05-02T03:50:00Z", 0, (0, 51), "2031-05-01T04:51:00Z"),
            // Of the date that is named, however long ago, and never ahead.
            (
                "2031-05-02T19:00:30Z",
                20_310_430,
                (16, 1),
                "2031-04-30T20:01:00Z",
            ),
            (
                "2031-05-02T19:00:30Z",
                20_310_502,
                (14, 20),
                "2031-05-02T18:20:00Z",
            ),
            ("2031-05-02T19:00:30Z", 20_310_502, (16, 1), "ahead"),
            ("2031-05-02T19:00:30Z", 20_310_503, (0, 0), "ahead"),
            // Put back from 02:00 to 01:00: what is there twice is the first, fish the older.
            ("2031-11-02T06:40:00Z", 0, (1, 30), "2031-11-02T05:30:00Z"),
            // Put forward from 02:00 to 03:00: 02:30 is there as 03:30.
            ("2031-03-09T07:10:00Z", 0, (2, 30), "ahead"),
            ("2031-03-09T08:00:00Z", 0, (2, 30), "2031-03-09T07:30:00Z"),
        ] {
            let (hour, minute) = written;
            let on = (on != 0).then_some(on);
            let got = clock.written_time_us(hour * 60 + minute, on, us(now));
            let got = got.map_or_else(|| "ahead".to_owned(), |us| instant(us).to_string());
            assert_eq!(got, is, "{now} {on:?} {written:?}");
        }
    }

    #[test]
    fn a_clock_put_back_never_runs_the_day_backwards() {
        // 01:30 the first time, and again an hour later.
        let clock = SiteClock::new("America/New_York", 1).unwrap();
        assert_eq!(clock.day_of(us("2031-11-02T05:30:00Z")), 20_311_102);
        assert_eq!(clock.day_of(us("2031-11-02T06:30:00Z")), 20_311_102);
        // The clock shows the date before once more: the day has begun already.
        let clock = SiteClock::new("America/St_Johns", 0).unwrap();
        let again = us("2010-11-07T03:00:00Z");
        assert!(
            clock
                .local_rfc3339(again)
                .starts_with("2010-11-06T23:30:00")
        );
        assert_eq!(clock.day_of(again), 20_101_107);
    }

    #[test]
    fn an_instant_is_written_with_the_offset_of_that_moment() {
        let clock = SiteClock::new("America/New_York", 4).unwrap();
        let written = clock.local_rfc3339(us("2031-05-02T18:31:05.25Z"));
        assert_eq!(written, "2031-05-02T14:31:05.25-04:00");
        assert_eq!(clock.local_rfc3339(0), "1969-12-31T19:00:00-05:00");
    }

    #[test]
    fn only_a_known_zone_and_a_morning_hour_make_a_clock() {
        for zone in [
            "",
            "Nowhere/Atall",
            "Etc/Unknown",
            "EST5EDT4,M3",
            "../../etc/localtime",
        ] {
            assert_eq!(
                SiteClock::new(zone, 4),
                Err(BadZone::NotAZone(zone.to_owned()))
            );
        }
        assert_eq!(
            SiteClock::new("america/new_york", 4).unwrap().zone(),
            "America/New_York"
        );
        assert!(SiteClock::new("UTC", 12).is_ok());
        assert_eq!(SiteClock::new("UTC", 13), Err(BadZone::CutoverHour(13)));
    }

    #[test]
    fn a_day_number_is_a_date_or_nothing() {
        for (day, next) in [
            (20_310_502, Some(20_310_503)),
            (20_311_231, Some(20_320_101)),
            (20_320_228, Some(20_320_229)),
            (20_310_228, Some(20_310_301)),
            (99_991_231, None),
            (10_000_101, Some(10_000_102)),
            (9_991_231, None),
            (20_310_431, None),
            (20_311_301, None),
            (20_310_500, None),
            (0, None),
            (-20_310_502, None),
            (i64::MAX, None),
        ] {
            assert_eq!(next_day(day), next, "{day}");
            assert_eq!(date_of(day).map(day_number), date_of(day).map(|_| day));
            if let Some(next) = next {
                assert_eq!(day_before(next), Some(day));
            }
        }
        let clock = SiteClock::new("UTC", 4).unwrap();
        assert_eq!(clock.start_us(20_310_431), i64::MAX);
        assert_eq!(clock.end_us(20_310_431), i64::MAX);
    }

    proptest! {
        #[test]
        fn each_instant_has_one_day_and_days_follow_each_other(
            zone in prop::sample::select(vec![
                "America/New_York", "America/Caracas", "America/St_Johns", "America/Sao_Paulo",
                "Asia/Kolkata", "Asia/Kathmandu", "Asia/Gaza", "Africa/Casablanca",
                "Australia/Lord_Howe", "Pacific/Apia", "Pacific/Chatham", "Europe/Lisbon", "UTC",
            ]),
            hour in 0_u8..=12,
            // 1970 to 2100.
            t in 0_i64..4_102_444_800_000_000,
            later in 0_i64..90_000_000_000,
        ) {
            let clock = SiteClock::new(zone, hour).unwrap();
            let day = clock.day_of(t);
            prop_assert!(clock.start_us(day) <= t, "{} began after {}", day, instant(t));
            prop_assert!(t < clock.end_us(day), "{} ended before {}", day, instant(t));
            prop_assert!(clock.day_of(t + later) >= day);
            prop_assert!(clock.start_us(next_day(day).unwrap()) >= clock.start_us(day));
        }
    }
}
