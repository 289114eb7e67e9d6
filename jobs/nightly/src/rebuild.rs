//! A rebuild: every closed day of a site worked out again, first to last, from its
//! entries alone, and compared with what is stored.
//!
//! Each day opens with what the day before it left, as worked out here. Its document
//! must come out byte for byte; rows that say the same in short are put back where they
//! are missing or others. Documents and entries are never touched. A day that cannot
//! come out the same, because other rules closed it or something was entered since, is
//! left alone and said. One day is in memory at a time.

use std::collections::BTreeMap;

use books::close::{self, Apart, CutInput, Gathered, Given, Revision, Should, Stored, Turned};
use books::register::{self, Office};
use books::{Db, lease};
use rules::close::{Judged, judge};
use rules::ids::DayNumber;
use rules::judging::JudgingSettings;
use rules::office::Site;

use crate::NightError;
use crate::watch::{Holder, Watch};

/// Days whose numbers are read at a time.
const PIECE: i64 = 64;

/// What a rebuild came to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Rebuilt {
    /// Closed days.
    pub days: i64,
    /// Days of which document and rows were as they should be.
    pub same: i64,
    /// Days that came out otherwise.
    pub unlike: Vec<Unlike>,
    /// Rows that were not as they should be.
    pub put_right: Vec<PutRight>,
    /// Days that were not compared.
    pub left_alone: Vec<LeftAlone>,
}

impl Rebuilt {
    /// 0 where everything compared was as it should be, else 1.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        u8::from(!self.unlike.is_empty() || !self.put_right.is_empty())
    }
}

/// A day whose document does not come out as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unlike {
    /// The business day.
    pub day: DayNumber,
    /// Its latest revision.
    pub revision: i64,
    /// SHA-256 stored beside the document.
    pub stored: String,
    /// SHA-256 of what came out.
    pub worked_out: String,
}

/// A day some of whose rows were not as they should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PutRight {
    /// The business day.
    pub day: DayNumber,
    /// Its latest revision.
    pub revision: i64,
    /// The tables.
    pub tables: Vec<Apart>,
}

/// A day that was not compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftAlone {
    /// The business day.
    pub day: DayNumber,
    /// Why.
    pub why: String,
}

/// Rebuilds a site. A dry run puts nothing back. `said` is told after each day how many
/// were looked at.
///
/// # Errors
/// [`NightError`] where it could not run; days already put right stay so.
pub async fn rebuild(
    db: &Db,
    site: i64,
    dry_run: bool,
    holder: &Holder,
    said: &mut dyn FnMut(DayNumber, i64),
) -> Result<Rebuilt, NightError> {
    let mut tx = db.read().await?;
    let office = register::load(&mut tx).await?;
    tx.rollback().await;
    let on_file = office
        .sites
        .get(&site)
        .ok_or(NightError::NoSuchSite(site))?;
    let mut rebuild = Rebuild {
        db,
        office: &office,
        site: on_file,
        dry_run,
        watch: Watch::new(db, holder),
        opening: Turned::default(),
        cuts: BTreeMap::new(),
        most_looked_back: most_looked_back(&office, site),
        found: Rebuilt::default(),
    };
    let done = rebuild.all(said).await;
    let Rebuild { watch, found, .. } = rebuild;
    watch.end().await;
    done.map(|()| found)
}

/// The most days that a night of a site was ever set to look back on.
fn most_looked_back(office: &Office, site: i64) -> usize {
    let versions = office.settings.get(&site).into_iter().flatten();
    let set = versions.map(|version| version.content.judging.history_days());
    let unset = JudgingSettings::default().history_days();
    usize::try_from(set.fold(unset, i64::max)).unwrap_or(0)
}

/// One run over a site's closed days.
struct Rebuild<'a> {
    db: &'a Db,
    office: &'a Office,
    site: &'a Site,
    dry_run: bool,
    watch: Watch<'a>,
    /// What the day before left.
    opening: Turned,
    /// Cuts of the latest days, as worked out here: what later days look back on, also
    /// where their rows are not as they should be.
    cuts: BTreeMap<(DayNumber, i64), Vec<CutInput>>,
    /// Days that a night of the site ever looked back on, by its settings.
    most_looked_back: usize,
    found: Rebuilt,
}

/// A closed day, worked out again.
struct Again {
    stored: Stored,
    given: Given,
    judged: Judged,
    kept: close::Kept,
}

impl Rebuild<'_> {
    async fn all(&mut self, said: &mut dyn FnMut(DayNumber, i64)) -> Result<(), NightError> {
        let mut after = 0;
        loop {
            let mut tx = self.db.read().await?;
            let days = close::closed_days(&mut tx, self.site.number, after, PIECE).await?;
            tx.rollback().await;
            let Some((last, _)) = days.last() else {
                return Ok(());
            };
            after = *last;
            for (day, _) in days {
                self.day(day).await?;
                said(day, self.found.days);
            }
        }
    }

    async fn day(&mut self, day: DayNumber) -> Result<(), NightError> {
        let Some(again) = self.work_out(day).await? else {
            return Ok(());
        };
        self.found.days += 1;
        let (stored, judged) = (&again.stored, &again.judged);
        let why = why_not(&stored.manifest.given, &again.given);
        let revision = Revision {
            given: again.given.clone(),
            judged,
            kept: &again.kept,
            before: (stored.revision > 1).then_some((stored.revision - 1, 0)),
        };
        let (doc, sha256) = close::document(&judged.doc);
        let is_same = doc == stored.doc && sha256 == stored.sha256;
        let link = || Should::link(stored.revision, &stored.manifest);
        let should = match &why {
            None if is_same => Should::all(&revision),
            // How cuts are kept does not depend on the rules by which a day is judged.
            Some(_) if same_day(&stored.manifest.given, &again.given) => {
                link().and_cuts(&again.kept)
            }
            None | Some(_) => link(),
        };
        let tables = self.put_right(&should).await?;
        let is_right = tables.is_empty();
        if !is_right {
            self.found.put_right.push(PutRight {
                day,
                revision: stored.revision,
                tables,
            });
        }
        match why {
            Some(why) => self.found.left_alone.push(LeftAlone { day, why }),
            None if !is_same => self.found.unlike.push(Unlike {
                day,
                revision: stored.revision,
                stored: stored.sha256.clone(),
                worked_out: sha256,
            }),
            None => self.found.same += i64::from(is_right),
        }
        self.cuts
            .insert((day, again.stored.revision), again.kept.cuts.clone());
        while self.cuts.len() > self.most_looked_back {
            self.cuts.pop_first();
        }
        self.open_next(day, again).await
    }

    /// Works a day out from its entries, in one snapshot with what is stored of it.
    async fn work_out(&self, day: DayNumber) -> Result<Option<Again>, NightError> {
        let mut tx = self.db.read().await?;
        let stored = close::stored(&mut tx, self.site.number, day, None).await?;
        let Some(stored) = stored else {
            return Ok(None);
        };
        let Gathered { input, given, kept } = close::gather(
            &mut tx,
            self.office,
            self.site,
            day,
            &self.opening,
            Some(close::Again {
                looked: &stored.manifest.given.looked,
                cuts: &self.cuts,
            }),
        )
        .await?;
        tx.rollback().await;
        Ok(Some(Again {
            stored,
            given,
            judged: judge(&input),
            kept,
        }))
    }

    /// Puts rows back that are missing or others, in one transaction, and says of which
    /// tables.
    async fn put_right(&mut self, should: &Should) -> Result<Vec<Apart>, NightError> {
        let mut tx = self.db.read().await?;
        let apart = should.apart(&mut tx).await?;
        tx.rollback().await;
        if apart.is_empty() || self.dry_run {
            return Ok(apart);
        }
        let lease = self.watch.lease(self.site).await?.clone();
        let mut tx = self.db.write().await?;
        if !lease::stands(&mut tx, &lease).await? {
            tx.rollback().await;
            return Err(NightError::TakenOver(self.site.number));
        }
        should.put_right(&mut tx, &apart).await?;
        tx.commit().await?;
        Ok(apart)
    }

    /// The next day opens with what this one left: as worked out here, or as stored
    /// where that is something else.
    async fn open_next(&mut self, day: DayNumber, again: Again) -> Result<(), NightError> {
        let left = Turned::by(&again.judged);
        if left.digests() == again.stored.manifest.left {
            self.opening = left;
            return Ok(());
        }
        let after = rules::business_day::next_day(day).ok_or(NightError::NotADay(day))?;
        let mut tx = self.db.read().await?;
        self.opening = close::turned(&mut tx, self.site.number, after).await?;
        tx.rollback().await;
        Ok(())
    }
}

/// Whether a day's own entries and what it opened with are those of its close.
fn same_day(closed: &Given, now: &Given) -> bool {
    closed.upto_seq == now.upto_seq
        && closed.opening == now.opening
        && closed.balances == now.balances
}

/// Why a day cannot come out as it was closed; `None` where it must.
fn why_not(closed: &Given, now: &Given) -> Option<String> {
    let Given {
        site: _,
        day: _,
        upto_seq,
        opening,
        balances,
        history,
        settings,
        undrained,
        rules,
        // A rebuild looks back on the same.
        looked: _,
    } = closed;
    let mut why = Vec::new();
    if *rules != now.rules {
        why.push(format!(
            "version {rules} of the rules closed it, and this is version {}",
            now.rules
        ));
    }
    if *upto_seq != now.upto_seq {
        let since = now.upto_seq - upto_seq;
        let entries = if since == 1 { "entry" } else { "entries" };
        why.push(format!("{since} {entries} came since it was closed"));
    }
    if *opening != now.opening || *balances != now.balances {
        why.push("a day before it is to be closed again first".to_owned());
    }
    if *settings != now.settings {
        why.push("other settings were put on file for it since".to_owned());
    }
    if *undrained != now.undrained {
        why.push("devices have said more of their queues since".to_owned());
    }
    // Other rules may look other things up, and so may what came since.
    if *history != now.history && *rules == now.rules && *upto_seq == now.upto_seq {
        why.push("tickets, counts or devices of other days say more since".to_owned());
    }
    (!why.is_empty()).then(|| why.join("; "))
}
