//! Whether a book is well: what can be told from it alone, without writing.
//!
//! Each check takes a snapshot of its own, so that a part of the book that cannot be
//! read keeps no other check from being made. What is found is data; only a place
//! where no book can be is an error.

use std::collections::{BTreeMap, BTreeSet};

use rules::agreed_price::AgreedPrice;
use rules::baseline::Baseline;
use rules::codes::CodesAsked;
use rules::dispute::{AnswerAsked, DisputeAsked, DisputeOpened};
use rules::key::{Key, KeyAsked, LinkAsked, RevokeAsked};
use rules::making::{Making, MakingAsked};
use rules::office::{Device, Party, Scale, Settings, Site, Species, Tote};
use rules::outlet::Room;
use rules::outlet::plan::{Change, ChoiceAsked, Plan, PlanTaken};
use rules::price_list::PriceList;
use rules::receiving::{ReprobeAsked, Reprobed};
use rules::reweigh::{ReweighAsked, ReweighDone};
use rules::settlement::{
    AdvanceAsked, ChargeAsked, DrawerAsked, DrawerFound, SettleAsked, Settled,
};
use rules::stock::{
    CountAsked, CountDone, Held, HoldAsked, Moved, MovementAsked, RegradeAsked, Regraded,
    ReleaseAsked, Released, ReturnAsked, Returned,
};
use rules::ticket::{Ticket, VoidAsked, WeighIn};
use rules::yield_answer::{YieldAnswerAsked, YieldAnswered};
use sha2::{Digest as _, Sha256};

use crate::copy::is_canonical;
use crate::db::{Db, EngineError, Tx, Val, Vitals, hex, known_migrations};
use crate::doc::{BadDoc, Doc, read_entry_doc};
use crate::{BooksError, book, close, entry_id, entry_parts, lease};

/// Entries read at a time.
const PIECE: i64 = 500;
/// Found troubles named one by one; beyond it they are only counted.
const NAMED: usize = 5;
/// A machine's clock may be so far behind the newest entry, microseconds: what two
/// machines on one book may differ by.
const BEHIND_US: i64 = 1_000_000;
/// A book in which nothing was written for so long makes one ask for the date.
const LONG_AGO_US: i64 = 366 * 24 * 3_600 * 1_000_000;
/// The first PostgreSQL that the program is tried on.
const POSTGRES: i64 = 150_000;
const MINUTE_US: i64 = 60_000_000;
/// Minutes for which no night takes a lease.
const LONG_LEASE: i64 = 60;

/// How it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// As it should be.
    Ok,
    /// Somebody should look at it.
    Look,
    /// The book, or what keeps it, is damaged or unsafe.
    Broken,
}

impl State {
    /// Stable word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            State::Ok => "ok",
            State::Look => "look",
            State::Broken => "broken",
        }
    }
}

/// A check, made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What was checked.
    pub name: &'static str,
    /// How it is.
    pub state: State,
    /// What was seen.
    pub seen: String,
    /// What to do; empty where all is well.
    pub what_to_do: String,
}

impl Check {
    /// A check that saw this; where all is well there is nothing to do.
    #[must_use]
    pub fn new(name: &'static str, state: State, seen: String, what_to_do: &str) -> Check {
        let what_to_do = match state {
            State::Ok => String::new(),
            State::Look | State::Broken => what_to_do.to_owned(),
        };
        Check {
            name,
            state,
            seen,
            what_to_do,
        }
    }
}

/// What a check saw.
type Seen = (State, String);

/// What to do about a damaged book.
const FROM_BACKUP: &str = "stop the service, keep the book's files as they are, restore the newest \
                           backup that doctor finds well into a new book, and send again what was \
                           booked since";

/// Makes every check of the book at `url`. `machine_us` is the machine's clock.
///
/// # Errors
/// A URL that names no book.
pub async fn examine(url: &str, machine_us: i64) -> Result<Vec<Check>, EngineError> {
    let db = Db::look(url)?;
    let mut checks = vec![check(&db, "engine", FROM_BACKUP, engine).await];
    checks.push(
        check(
            &db,
            "written through",
            "set the engine so that what is answered is on the disk: WAL on SQLite (start the \
             service once), synchronous_commit, fsync and full_page_writes on PostgreSQL",
            written_through,
        )
        .await,
    );
    let schema = check(
        &db,
        "schema",
        "start the program that wrote the book last; do not edit the schema by hand",
        schema,
    )
    .await;
    let readable = schema.state != State::Broken;
    checks.push(schema);
    if readable {
        let clock = async |tx: &mut Tx| clock(tx, machine_us).await;
        let nights = async |tx: &mut Tx| nights(tx, machine_us).await;
        checks.extend([
            check(&db, "numbers", FROM_BACKUP, numbers).await,
            check(&db, "documents", FROM_BACKUP, documents).await,
            check(&db, "tickets", FROM_BACKUP, tickets).await,
            check(&db, "closes", FROM_BACKUP, closes).await,
            check(
                &db,
                "days",
                "run the night of the site; it goes over the days it has to",
                days,
            )
            .await,
            check(&db, "spending", FROM_BACKUP, spending).await,
            check(
                &db,
                "nights",
                "set the clock of the machine that runs the nights; a night waits until the \
                 lease ends",
                nights,
            )
            .await,
            check(
                &db,
                "clock",
                "set the machine's clock, then start the service again",
                clock,
            )
            .await,
        ]);
    }
    db.close().await;
    Ok(checks)
}

async fn check(
    db: &Db,
    name: &'static str,
    what_to_do: &str,
    look: impl AsyncFnOnce(&mut Tx) -> Result<Seen, BooksError>,
) -> Check {
    let seen = async {
        let mut tx = db.read().await?;
        let seen = look(&mut tx).await?;
        tx.rollback().await;
        Ok::<Seen, BooksError>(seen)
    };
    let (state, seen) = match seen.await {
        Ok(seen) => seen,
        Err(error) => (State::Broken, format!("cannot be read: {error}")),
    };
    Check::new(name, state, seen, what_to_do)
}

/// All is well, or what is not: the first few by name, and how many.
fn found(well: String, troubles: &[String]) -> Seen {
    let Some(more) = troubles.len().checked_sub(NAMED) else {
        return match troubles {
            [] => (State::Ok, well),
            troubles => (State::Broken, troubles.join("; ")),
        };
    };
    let mut named = troubles[..NAMED].join("; ");
    if more > 0 {
        named.push_str(&format!("; and {more} more"));
    }
    (State::Broken, named)
}

async fn engine(tx: &mut Tx) -> Result<Seen, BooksError> {
    Ok(match tx.vitals().await? {
        Vitals::Sqlite { integrity, .. } if integrity == ["ok"] => {
            (State::Ok, "SQLite finds its file sound".to_owned())
        }
        Vitals::Sqlite { integrity, .. } => (
            State::Broken,
            format!("SQLite finds its file damaged: {}", integrity.join("; ")),
        ),
        Vitals::Postgres { version, .. } => {
            let seen = format!("PostgreSQL {}.{}", version / 10_000, version % 10_000);
            match version >= POSTGRES {
                true => (State::Ok, seen + ", not a standby"),
                false => (State::Broken, seen + "; 15 or newer is needed"),
            }
        }
    })
}

async fn written_through(tx: &mut Tx) -> Result<Seen, BooksError> {
    let (settings, well) = match tx.vitals().await? {
        Vitals::Sqlite {
            journal_mode,
            synchronous,
            ..
        } => {
            let well = journal_mode == "wal" && synchronous >= 2;
            (
                format!("journal_mode {journal_mode}, synchronous {synchronous}"),
                well,
            )
        }
        Vitals::Postgres {
            synchronous_commit,
            fsync,
            full_page_writes,
            ..
        } => {
            // Both wait for the disk of this server at least.
            let commit = matches!(synchronous_commit.as_str(), "on" | "remote_apply");
            let well = commit && fsync == "on" && full_page_writes == "on";
            (
                format!(
                    "synchronous_commit {synchronous_commit}, fsync {fsync}, \
                     full_page_writes {full_page_writes}"
                ),
                well,
            )
        }
    };
    let state = if well { State::Ok } else { State::Broken };
    Ok((state, settings))
}

async fn schema(tx: &mut Tx) -> Result<Seen, BooksError> {
    let rows = tx
        .fetch(
            "SELECT version, sha256 FROM migration ORDER BY version",
            &[],
        )
        .await?;
    let landed: BTreeMap<i64, &str> = rows.iter().map(|row| (row.int(0), row.text(1))).collect();
    let known: BTreeMap<i64, String> = known_migrations().into_iter().collect();
    let mut troubles = Vec::new();
    for (version, sha256) in &known {
        match landed.get(version) {
            Some(there) if there == sha256 => {}
            Some(_) => troubles.push(format!("step {version} was made by another text")),
            None => troubles.push(format!("step {version} is missing")),
        }
    }
    let newer = landed.keys().filter(|version| !known.contains_key(version));
    troubles.extend(newer.map(|version| format!("step {version} is of a newer program")));
    Ok(found(
        format!("{} steps, all known", known.len()),
        &troubles,
    ))
}

/// The numbers of each day: entries, those of late deeds and those in blocks follow
/// each other without a gap up to where the head stands.
async fn numbers(tx: &mut Tx) -> Result<Seen, BooksError> {
    let heads = tx
        .fetch(
            "SELECT site, day, next FROM head WHERE day > 0 ORDER BY site, day",
            &[],
        )
        .await?;
    let mut troubles = Vec::new();
    let mut counted = 0;
    for head in &heads {
        let (site, day, next) = (head.int(0), head.int(1), head.int(2));
        let range = [
            Val::Int(entry_id(day, site, 0)),
            Val::Int(entry_id(day, site, 9_999_999)),
        ];
        let sql = "SELECT id, 1 FROM entry WHERE id BETWEEN ? AND ? \
                   UNION ALL SELECT id, 1 FROM late WHERE id BETWEEN ? AND ? \
                   UNION ALL SELECT entry + 1, numbers FROM block WHERE entry BETWEEN ? AND ? \
                   ORDER BY 1";
        let runs = tx.fetch(sql, &[range, range, range].concat()).await?;
        let mut expected = 1;
        for run in &runs {
            let (.., seq) = entry_parts(run.int(0));
            if seq != expected {
                let what = if seq > expected {
                    "missing"
                } else {
                    "taken twice"
                };
                let number = expected.min(seq);
                troubles.push(format!(
                    "number {number} of site {site}, day {day} is {what}"
                ));
            }
            expected = seq + run.int(1);
        }
        if expected != next {
            troubles.push(format!(
                "the head of site {site}, day {day} gives {next} next, and {expected} would follow"
            ));
        }
        counted += next - 1;
    }
    let known: BTreeSet<(i64, i64)> = heads.iter().map(|row| (row.int(0), row.int(1))).collect();
    let days = "SELECT DISTINCT id / 10000000 FROM entry \
                UNION SELECT DISTINCT id / 10000000 FROM late";
    for row in tx.fetch(days, &[]).await? {
        let (day, site) = (row.int(0) / 10_000, row.int(0) % 10_000);
        if !known.contains(&(site, day)) {
            troubles.push(format!("site {site}, day {day} has entries and no head"));
        }
    }
    let well = format!("{counted} numbers of {} days without a gap", heads.len());
    Ok(found(well, &troubles))
}

async fn documents(tx: &mut Tx) -> Result<Seen, BooksError> {
    let (mut last, mut read, mut formed) = (i64::MIN, 0, 0);
    let mut troubles = Vec::new();
    let sql = format!("SELECT id, kind, doc FROM entry WHERE id > ? ORDER BY id LIMIT {PIECE}");
    loop {
        let rows = tx.fetch(&sql, &[Val::Int(last)]).await?;
        let Some(end) = rows.last() else { break };
        last = end.int(0);
        for row in &rows {
            let (id, kind, doc) = (row.int(0), row.text(1), row.text(2));
            if !is_canonical(doc) {
                troubles.push(format!(
                    "entry {id} ({kind}): not as this program writes one"
                ));
                continue;
            }
            match reads_as(kind, doc) {
                Some(Ok(())) => read += 1,
                Some(Err(why)) => troubles.push(format!("entry {id} ({kind}): {why}")),
                None => formed += 1,
            }
        }
    }
    let well = format!("{read} entries read as their kind, {formed} more in their form");
    Ok(found(well, &troubles))
}

/// Whether a document reads as its kind; nothing for kinds whose types are not kept
/// with the rules.
fn reads_as(kind: &str, doc: &str) -> Option<Result<(), BadDoc>> {
    fn of<A: Doc, O: Doc>(doc: &str) -> Result<(), BadDoc> {
        read_entry_doc::<A, O>(doc).map(drop)
    }
    let read = match kind {
        "weigh_in" => of::<WeighIn, Ticket>,
        "void" => of::<VoidAsked, ()>,
        "codes" => of::<CodesAsked, ()>,
        "reprobe" => of::<ReprobeAsked, Reprobed>,
        "reweigh" => of::<ReweighAsked, ReweighDone>,
        "hold" => of::<HoldAsked, Held>,
        "release" => of::<ReleaseAsked, Released>,
        "regrade" => of::<RegradeAsked, Regraded>,
        "movement" => of::<MovementAsked, Moved>,
        "return" => of::<ReturnAsked, Returned>,
        "making" => of::<MakingAsked, Making>,
        "count" => of::<CountAsked, CountDone>,
        "settle" => of::<SettleAsked, Settled>,
        "advance" => of::<AdvanceAsked, ()>,
        "charge" => of::<ChargeAsked, ()>,
        "drawer" => of::<DrawerAsked, DrawerFound>,
        "dispute" => of::<DisputeAsked, DisputeOpened>,
        "answer" => of::<AnswerAsked, ()>,
        "answer_yield" => of::<YieldAnswerAsked, YieldAnswered>,
        "site" => of::<Site, Site>,
        "party" => of::<Party, Party>,
        "species" => of::<Species, Species>,
        "scale" => of::<Scale, Scale>,
        "tote" => of::<Tote, Tote>,
        "device" => of::<Device, Device>,
        "settings" => of::<Settings, Settings>,
        "price_list" => of::<PriceList, PriceList>,
        "agreed_price" => of::<AgreedPrice, AgreedPrice>,
        "baseline" => of::<Baseline, Baseline>,
        "room" => of::<Room, Room>,
        "choice" => of::<ChoiceAsked, Option<Change>>,
        "plan" => of::<PlanTaken, Plan>,
        "key" => of::<KeyAsked, Key>,
        "revoke" => of::<RevokeAsked, Key>,
        "link" => of::<LinkAsked, ()>,
        _ => return None,
    };
    Some(read(doc))
}

/// What the rows of a ticket add up to.
#[derive(Debug, Default, PartialEq, Eq)]
struct Sums {
    lines: i64,
    weight: i64,
    ice: i64,
    amount: i64,
    /// Only of a ticket that takes nobody else's place.
    pay: Option<(i64, i64)>,
}

/// The rows of each ticket's lines and pay against its document, added up here and
/// not by the views.
async fn tickets(tx: &mut Tx) -> Result<Seen, BooksError> {
    let (mut last, mut held) = (i64::MIN, 0);
    let mut troubles = Vec::new();
    let sql = format!(
        "SELECT id, doc FROM entry WHERE kind = 'weigh_in' AND id > ? ORDER BY id LIMIT {PIECE}"
    );
    loop {
        let rows = tx.fetch(&sql, &[Val::Int(last)]).await?;
        let (Some(first), Some(end)) = (rows.first(), rows.last()) else {
            break;
        };
        last = end.int(0);
        let range = [Val::Int(first.int(0)), Val::Int(last)];
        let mut booked: BTreeMap<i64, Sums> = BTreeMap::new();
        let lines = "SELECT ticket, weight, ice, amount FROM line WHERE ticket BETWEEN ? AND ?";
        for row in tx.fetch(lines, &range).await? {
            let sums = booked.entry(row.int(0)).or_default();
            sums.lines += 1;
            sums.weight += row.int(1);
            sums.ice += row.int(2);
            sums.amount += row.int(3);
        }
        let mut pay: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
        let money = "SELECT entry, to_kind, amount FROM money WHERE entry BETWEEN ? AND ?";
        for row in tx.fetch(money, &range).await? {
            let (owed, held) = pay.entry(row.int(0)).or_default();
            match row.text(1) {
                "owed" => *owed += row.int(2),
                "held" => *held += row.int(2),
                _ => {}
            }
        }
        for row in &rows {
            let id = row.int(0);
            // One that does not read is named where documents are.
            let Ok((asked, ticket)) = read_entry_doc::<WeighIn, Ticket>(row.text(1)) else {
                continue;
            };
            let alone = asked.rewrites.is_none();
            let mut booked = booked.remove(&id).unwrap_or_default();
            booked.pay = alone.then(|| pay.remove(&id).unwrap_or_default());
            let written = Sums {
                lines: i64::try_from(ticket.lines.len()).unwrap_or(i64::MAX),
                weight: ticket.lines.iter().map(|line| line.net.units()).sum(),
                ice: ticket.lines.iter().map(|line| line.ice.units()).sum(),
                amount: ticket.lines.iter().map(|line| line.amount.minor()).sum(),
                pay: alone.then(|| (ticket.owed.minor(), ticket.held.minor())),
            };
            if booked != written {
                troubles.push(format!(
                    "ticket {id}: its rows say {booked:?}, its document {written:?}"
                ));
            }
            held += 1;
        }
    }
    let lost = "SELECT l.ticket, l.n FROM line l LEFT JOIN entry e ON e.id = l.ticket \
                LEFT JOIN part p ON p.number = l.number AND p.place = l.place AND p.n = l.part \
                LEFT JOIN lot o ON o.number = l.number AND o.place = l.place \
                WHERE e.id IS NULL OR p.n IS NULL OR o.place IS NULL ORDER BY l.ticket, l.n";
    for row in tx.fetch(lost, &[]).await? {
        troubles.push(format!(
            "line {} of ticket {}: its entry, lot or part is not there",
            row.int(1),
            row.int(0)
        ));
    }
    let well = format!("lines and pay of {held} tickets are as their documents say");
    Ok(found(well, &troubles))
}

/// Each close's document against its digest, and each revision against the one before.
async fn closes(tx: &mut Tx) -> Result<Seen, BooksError> {
    let keys = tx
        .fetch(
            "SELECT site, day, revision, entry FROM close ORDER BY site, day, revision",
            &[],
        )
        .await?;
    let mut troubles = Vec::new();
    let mut before: Option<(i64, i64, i64, i64)> = None;
    for key in &keys {
        let (site, day, revision, entry) = (key.int(0), key.int(1), key.int(2), key.int(3));
        let name = format!("close of site {site}, day {day}, revision {revision}");
        let Some(stored) = close::stored(tx, site, day, Some(revision)).await? else {
            troubles.push(format!("{name}: entry {entry} is not there"));
            continue;
        };
        if hex(&Sha256::digest(&stored.doc)) != stored.sha256 {
            troubles.push(format!(
                "{name}: its document is not the one its SHA-256 is of"
            ));
        } else if let Err(why) = stored.read() {
            troubles.push(format!("{name}: {why}"));
        }
        let follows = before.filter(|before| (before.0, before.1) == (site, day));
        let number = follows.map_or(0, |before| before.2) + 1;
        if revision != number {
            troubles.push(format!("{name}: revision {number} is missing"));
        }
        if let Some((.., revised)) = follows {
            let sql = "SELECT by FROM spent WHERE what = ? AND item = 0 AND how = 'revise'";
            let by = tx.fetch(sql, &[Val::Int(revised)]).await?;
            if by.first().map(|row| row.int(0)) != Some(entry) {
                troubles.push(format!("{name}: it does not spend the one before it"));
            }
        }
        before = Some((site, day, revision, entry));
    }
    Ok(found(
        format!("{} revisions, each as its SHA-256 says", keys.len()),
        &troubles,
    ))
}

/// Nights under way, by their leases. None is taken for longer than minutes.
async fn nights(tx: &mut Tx, machine_us: i64) -> Result<Seen, BooksError> {
    let (mut at_work, mut far) = (Vec::new(), false);
    for lease in lease::all(tx).await? {
        let minutes = (lease.until_us - machine_us + MINUTE_US - 1).div_euclid(MINUTE_US);
        if minutes > 0 {
            far |= minutes > LONG_LEASE;
            let (site, holder) = (lease.site, lease.holder);
            at_work.push(format!(
                "site {site} is at it, {holder}, for {minutes} minutes at most"
            ));
        }
    }
    if at_work.is_empty() {
        at_work.push("none is under way".to_owned());
    }
    let state = if far { State::Look } else { State::Ok };
    Ok((state, at_work.join("; ")))
}

/// What each day left is what its rows say, and what the next began with.
async fn days(tx: &mut Tx) -> Result<Seen, BooksError> {
    let sites = tx
        .fetch("SELECT DISTINCT site FROM close ORDER BY site", &[])
        .await?;
    let (mut troubles, mut behind, mut closed) = (Vec::new(), Vec::new(), 0);
    for row in &sites {
        let site = row.int(0);
        let mut left = close::Turned::default().digests();
        let known = close::days(tx, site).await?;
        for (day, manifest) in close::manifests(tx, site).await? {
            let given = &manifest.given;
            closed += 1;
            if (given.site, given.day) != (site, day) {
                troubles.push(format!(
                    "site {site}, day {day}: its manifest is of another day"
                ));
            }
            if (&given.opening, &given.balances) != (&left.on_hand, &left.balances) {
                behind.push(format!(
                    "site {site}, day {day}: an earlier day was revised since"
                ));
            } else if known
                .get(&day)
                .is_some_and(|day| given.upto_seq < day.upto_seq)
            {
                behind.push(format!(
                    "site {site}, day {day}: something was entered since"
                ));
            }
            left = close::turned(tx, site, day + 1).await?.digests();
            if left != manifest.left {
                troubles.push(format!(
                    "site {site}, day {day}: what it left is not what its manifest says"
                ));
            }
        }
    }
    if troubles.is_empty() && !behind.is_empty() {
        let (_, seen) = found(String::new(), &behind);
        return Ok((State::Look, seen));
    }
    let well = format!("{closed} closed days, each opened as the one before was left");
    Ok(found(well, &troubles))
}

async fn spending(tx: &mut Tx) -> Result<Seen, BooksError> {
    let sql = "SELECT s.what, s.item, s.how, s.by FROM spent s \
               LEFT JOIN entry a ON a.id = s.what LEFT JOIN entry b ON b.id = s.by \
               WHERE a.id IS NULL OR b.id IS NULL ORDER BY s.what, s.item";
    let mut troubles: Vec<String> = tx
        .fetch(sql, &[])
        .await?
        .iter()
        .map(|row| {
            let (what, item, how, by) = (row.int(0), row.int(1), row.text(2), row.int(3));
            format!("item {item} of entry {what} was spent ({how}) by {by}: one is not there")
        })
        .collect();
    let sql = "SELECT r.request_id, r.entry FROM request r LEFT JOIN entry e ON e.id = r.entry \
               WHERE e.id IS NULL ORDER BY r.entry";
    troubles.extend(tx.fetch(sql, &[]).await?.iter().map(|row| {
        format!(
            "request {} made entry {}, which is not there",
            row.text(0),
            row.int(1)
        )
    }));
    let rows = tx.fetch("SELECT COUNT(*) FROM spent", &[]).await?;
    let count = rows.first().map_or(0, |row| row.int(0));
    Ok(found(
        format!("{count} items, each of and by an entry"),
        &troubles,
    ))
}

async fn clock(tx: &mut Tx, machine_us: i64) -> Result<Seen, BooksError> {
    let newest = tx.fetch("SELECT MAX(recorded_us) FROM entry", &[]).await?;
    let newest = newest.first().and_then(|row| row.maybe_int(0));
    if let Some(now_us) = book::simulated_now_in(tx).await? {
        return Ok(match newest {
            Some(newest) if newest > now_us => (
                State::Broken,
                "simulated, and behind the newest entry".to_owned(),
            ),
            _ => (State::Ok, "simulated, for trying out".to_owned()),
        });
    }
    let seconds = newest.map(|newest| (machine_us - newest) / 1_000_000);
    Ok(match (newest, seconds) {
        (Some(newest), Some(seconds)) if newest > machine_us + BEHIND_US => (
            State::Broken,
            format!(
                "the machine's clock is {} s behind the newest entry",
                -seconds
            ),
        ),
        (Some(newest), Some(seconds)) if newest < machine_us - LONG_AGO_US => (
            State::Look,
            format!(
                "the newest entry is {} days old: the machine's clock may be ahead",
                seconds / 86_400
            ),
        ),
        (_, Some(seconds)) => (
            State::Ok,
            format!("the machine's, {} s after the newest entry", seconds.max(0)),
        ),
        _ => (
            State::Ok,
            "the machine's; nothing was entered yet".to_owned(),
        ),
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
