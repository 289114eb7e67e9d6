//! The one way in: whoever writes in the books hands a [`Deed`] to the scribe.
//!
//! A deed becomes one entry, or nothing at all, and these always hold, with any number
//! of scribes and processes on one book:
//!
//! - The numbers of a site's day, those of its entries, of its late deeds and of the
//!   blocks asked for ahead together, follow each other without a gap and in the order
//!   in which they were committed; `recorded_us` never goes back in that order.
//! - A request is recorded once; every repeat is answered with its entry.
//! - A condition held at the moment of the commit: an item of an entry is spent once,
//!   and nobody wrote between the look and the book.
//! - [`Answer::Recorded`] is given after the commit, so the entry is on the disk.
//!
//! Deeds that wait together are written together, in one transaction for each group:
//! lock the heads, look, [`decide`](decide::decide), insert, commit. One that the engine
//! refuses is found by halving its group, and its neighbours land.
//!
//! A [`Condition`] about a lot holds its ground because every row about a lot is written
//! under the lock of the lot number's own day.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::{Duration, Instant};

use rules::codes::MOST_NUMBERS;
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinHandle;

use crate::db::{Db, EngineError, Tx, Val};
use crate::table::{
    ALL, BLOCK, COUNTED, ENTRY, HEAD, INWARD, LATE, MAKING_IN, MOVE, REQUEST, Row, SHIFT, SPENT,
    Table,
};
use decide::{Head, Heads, Seen, decide};

mod decide;

/// The site whose epoch is that of what all sites share.
const SHARED: i64 = 0;
/// Deeds written in one transaction at most.
const GROUP: usize = 1024;
/// How often a group is run again when the engine asks for it, and the first pause.
const TRIES: u32 = 3;
const PAUSE: Duration = Duration::from_millis(4);
/// How long to try for a connection before callers are told that there is none.
const PATIENCE: Duration = Duration::from_secs(5);
/// Largest sequence number of a day.
const LAST_SEQ: i64 = 9_999_999;

/// The id of the `seq`-th entry of a site's business day: read in decimal,
/// `YYYYMMDD SSSS NNNNNNN`.
///
/// # Panics
/// When a part is out of its range: days of the years 1000 to 9222, sites 0 to 9999,
/// sequence 0 to 9999999.
pub fn entry_id(day: i64, site: i64, seq: i64) -> i64 {
    assert!(is_day(day), "no day: {day}");
    assert!(is_site(site), "no site: {site}");
    assert!((0..=LAST_SEQ).contains(&seq), "no sequence number: {seq}");
    (day * 10_000 + site) * 10_000_000 + seq
}

/// Day, site and sequence number of an entry.
pub fn entry_parts(id: i64) -> (i64, i64, i64) {
    let (site_day, seq) = (id / 10_000_000, id % 10_000_000);
    (site_day / 10_000, site_day % 10_000, seq)
}

fn is_day(day: i64) -> bool {
    (10_000_101..=92_221_231).contains(&day)
        && (1..=12).contains(&(day / 100 % 100))
        && (1..=31).contains(&(day % 100))
}

fn is_site(site: i64) -> bool {
    (0..=9999).contains(&site)
}

/// What someone did, ready to be written.
#[derive(Clone, Debug)]
pub struct Deed {
    /// Site it happened at; 0 for what all sites share.
    pub site: i64,
    /// Business day it speaks of, YYYYMMDD; the entry takes its number on that day.
    pub day: i64,
    /// The day it was entered, when that is a later one: it takes a number there too.
    pub pay_day: Option<i64>,
    /// The caller's name for the request.
    pub request_id: String,
    /// SHA-256 of the caller's party, the method and the parsed request.
    pub print: [u8; 32],
    /// The deed, such as `weigh_in`.
    pub kind: &'static str,
    /// Party it is about, or empty.
    pub party: String,
    /// Caller who asked for it.
    pub actor: String,
    /// When it happened.
    pub happened_us: i64,
    /// When it is recorded, by the caller's clock; never stored as less than what was
    /// recorded before it.
    pub recorded_us: i64,
    /// What must hold for it.
    pub must_hold: Vec<Condition>,
    /// Sites whose epoch rises, that is: what the office keeps on file changes.
    pub bumps: Vec<i64>,
    /// Canonical JSON; never contains the entry's own id.
    pub doc: String,
    /// What else it writes.
    pub rows: Vec<Row>,
}

/// What must hold for a deed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Condition {
    /// The item of an entry is unspent, and this deed spends it.
    Spend {
        /// The entry.
        what: i64,
        /// Its item; 0 is the whole.
        item: i64,
        /// What for: void, rewrite, settle, ...
        how: &'static str,
    },
    /// This deed spends an item of its own entry, which nobody else can have.
    SpendOwn {
        /// The item.
        item: i64,
        /// What for.
        how: &'static str,
    },
    /// What the office keeps on file for the site did not change; see [`epoch`].
    /// That of what all sites share (site 0) is looked at without its lock, which
    /// every site would wait for: what is put on file while a deed is being written
    /// came after it.
    Epoch {
        /// The site.
        site: i64,
        /// The epoch that was seen.
        seen: i64,
    },
    /// Nothing more happened to the lot than was seen; see [`lot_rows`].
    LotSeen {
        /// The lot's number.
        number: i64,
        /// Its place.
        place: i64,
        /// How many rows were seen.
        seen: i64,
    },
    /// The ticket was neither voided nor rewritten.
    Stands {
        /// The ticket.
        ticket: i64,
    },
    /// Nothing happened to any lot of this number since it was weighed in.
    Unmoved {
        /// The lots' number.
        number: i64,
    },
    /// Nobody took the lease of the site's night since; see [`lease`](crate::lease).
    Fence {
        /// The site.
        site: i64,
        /// The fence of the lease it is written under.
        fence: i64,
    },
}

/// What the books made of a deed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// The entry's id.
    pub entry: i64,
    /// When it was recorded, as stored.
    pub recorded_us: i64,
    /// Its number on the day it was entered, when it came late.
    pub late: Option<i64>,
}

/// What became of a deed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// It is in the books.
    Recorded(Stamp),
    /// The same request was recorded before.
    Repeated {
        /// As this entry.
        entry: i64,
    },
    /// Another request was recorded under this request id.
    OtherBody,
    /// This does not hold; nothing was written.
    Unmet(Condition),
    /// The day has no numbers left for it.
    Full {
        /// Numbers that are left, the deed's own among them.
        left: i64,
    },
    /// The deed itself cannot be written. The text is for the log, never for the caller.
    Broken(String),
    /// The books cannot be reached now. The deed may have been recorded; its repeat will
    /// tell.
    Unavailable,
}

impl Answer {
    /// For those who count.
    fn word(&self) -> &'static str {
        match self {
            Answer::Recorded(_) => "recorded",
            Answer::Repeated { .. } => "repeated",
            Answer::OtherBody => "other body",
            Answer::Unmet(_) => "unmet",
            Answer::Full { .. } => "full",
            Answer::Broken(_) => "broken",
            Answer::Unavailable => "unavailable",
        }
    }
}

/// Writes deeds, those that wait together in one transaction. Clones share the queue.
#[derive(Clone)]
pub struct Scribe {
    queue: mpsc::Sender<Order>,
    task: Arc<std::sync::Mutex<Option<JoinHandle<()>>>>,
}

enum Order {
    Write(Box<Deed>, oneshot::Sender<Answer>),
    Stop,
}

impl Scribe {
    /// Starts to write, with room for `queue` deeds that wait.
    ///
    /// # Panics
    /// Outside of a tokio runtime.
    pub fn start(db: Db, queue: usize) -> Scribe {
        let (sender, receiver) = mpsc::channel(queue.max(1));
        let task = tokio::spawn(write_all(db, receiver));
        Scribe {
            queue: sender,
            task: Arc::new(std::sync::Mutex::new(Some(task))),
        }
    }

    /// Has a deed written, and says what became of it. A caller who stops waiting does
    /// not stop the deed.
    pub async fn record(&self, deed: Deed) -> Answer {
        match self.hand_in(deed).await {
            Some(answer) => answer.await.unwrap_or(Answer::Unavailable),
            None => Answer::Unavailable,
        }
    }

    /// Has deeds written in their order, each on its own, and says what became of each.
    pub async fn record_all(&self, deeds: Vec<Deed>) -> Vec<Answer> {
        let mut waiting = Vec::with_capacity(deeds.len());
        for deed in deeds {
            waiting.push(self.hand_in(deed).await);
        }
        let mut answers = Vec::with_capacity(waiting.len());
        for answer in waiting {
            answers.push(match answer {
                Some(answer) => answer.await.unwrap_or(Answer::Unavailable),
                None => Answer::Unavailable,
            });
        }
        answers
    }

    /// Takes no more deeds, and returns when those that wait are written.
    pub async fn stop(self) {
        // A failure means that it has stopped already.
        let _ = self.queue.send(Order::Stop).await;
        let task = self.task.lock().map(|mut task| task.take());
        if let Ok(Some(task)) = task {
            let _ = task.await;
        }
        self.queue.closed().await;
    }

    async fn hand_in(&self, deed: Deed) -> Option<oneshot::Receiver<Answer>> {
        let (sender, receiver) = oneshot::channel();
        let order = Order::Write(Box::new(deed), sender);
        self.queue.send(order).await.ok().map(|()| receiver)
    }
}

/// Has one deed written without a scribe, the same way.
pub async fn write_once(db: &Db, deed: Deed) -> Answer {
    let mut answers = write_group(db, &[deed]).await;
    answers.pop().unwrap_or(Answer::Unavailable)
}

/// Epoch of what the office keeps on file for the site: it rises with every change.
///
/// # Errors
/// As the engine answers.
pub async fn epoch(tx: &mut Tx, site: i64) -> Result<i64, EngineError> {
    let rows = tx
        .fetch(
            "SELECT next FROM head WHERE site = ? AND day = 0",
            &[site.into()],
        )
        .await?;
    Ok(rows.first().map_or(1, |row| row.int(0)))
}

/// How many rows say what happened to the lot since it was made.
///
/// # Errors
/// As the engine answers.
pub async fn lot_rows(tx: &mut Tx, number: i64, place: i64) -> Result<i64, EngineError> {
    let seen = look_at_lots(tx, &BTreeSet::from([(number, place)])).await?;
    Ok(seen.values().sum())
}

async fn write_all(db: Db, mut queue: mpsc::Receiver<Order>) {
    let mut orders = Vec::with_capacity(GROUP);
    while queue.recv_many(&mut orders, GROUP).await > 0 {
        let (mut deeds, mut callers) = (Vec::new(), Vec::new());
        for order in orders.drain(..) {
            match order {
                Order::Write(deed, caller) => {
                    deeds.push(*deed);
                    callers.push(caller);
                }
                // What is already in the queue is still written.
                Order::Stop => queue.close(),
            }
        }
        metrics::gauge!("weighhouse_queue_deeds").set(queue.len() as f64);
        let started = Instant::now();
        let answers = write_group(&db, &deeds).await;
        metrics::histogram!("weighhouse_group_duration_seconds")
            .record(started.elapsed().as_secs_f64());
        metrics::histogram!("weighhouse_group_deeds").record(deeds.len() as f64);
        for answer in &answers {
            metrics::counter!("weighhouse_deeds_total", "outcome" => answer.word()).increment(1);
        }
        for (caller, answer) in callers.into_iter().zip(answers) {
            // A caller who left does not mind.
            let _ = caller.send(answer);
        }
    }
}

/// Writes deeds in their order, in as few transactions as will hold, and gives one
/// answer for each.
async fn write_group(db: &Db, deeds: &[Deed]) -> Vec<Answer> {
    let mut answers = Vec::with_capacity(deeds.len());
    // What is left to do, the next on top.
    let mut left = vec![deeds];
    while let Some(deeds) = left.pop() {
        if deeds.is_empty() {
            continue;
        }
        match land(db, deeds).await {
            Ok(landed) => answers.extend(landed),
            Err(Trouble::Guilty(error)) if deeds.len() == 1 => {
                answers.push(Answer::Broken(error.to_string()));
            }
            Err(Trouble::Guilty(_)) => {
                let (first, second) = deeds.split_at(deeds.len() / 2);
                left.extend([second, first]);
            }
            Err(Trouble::Engine(error)) => {
                tracing::warn!(%error, book = db.url_without_password(), "the books do not answer");
                let lost = deeds.len() + left.iter().map(|deeds| deeds.len()).sum::<usize>();
                answers.extend((0..lost).map(|_| Answer::Unavailable));
                left.clear();
            }
        }
    }
    answers
}

/// Why a group did not land.
enum Trouble {
    /// One of its deeds cannot be written.
    Guilty(EngineError),
    /// The engine cannot write now, whatever the deeds.
    Engine(EngineError),
}

/// Runs one group until it is committed, or cannot be.
async fn land(db: &Db, deeds: &[Deed]) -> Result<Vec<Answer>, Trouble> {
    let started = Instant::now();
    let mut tries = 0;
    // What was to be answered when the answer to COMMIT was lost. The next run tells
    // whether it holds: it waits for the locks of the lost one.
    let mut promised = None;
    loop {
        let error = match prepare(db, deeds).await {
            Ok((tx, answers)) => match finish(tx, &answers).await {
                Ok(()) => return Ok(keep_promises(db, answers, promised).await),
                Err(error) => {
                    if error.is_commit_unknown() {
                        promised = Some(answers);
                    }
                    error
                }
            },
            Err(error) => error,
        };
        let pause = match &error {
            EngineError::Busy(_) if tries < TRIES => PAUSE * (1 << tries),
            EngineError::Clash(_) if tries < TRIES => PAUSE,
            EngineError::Gone(_) | EngineError::CommitUnknown(_)
                if started.elapsed() < PATIENCE =>
            {
                tracing::warn!(%error, "a group is written again");
                PAUSE
            }
            EngineError::Clash(_)
            | EngineError::Damaged(_)
            | EngineError::Refused(_)
            | EngineError::Corrupt { .. }
            | EngineError::Schema(_) => return Err(Trouble::Guilty(error)),
            EngineError::Busy(_)
            | EngineError::Gone(_)
            | EngineError::CommitUnknown(_)
            | EngineError::Closed => return Err(Trouble::Engine(error)),
        };
        tries += u32::from(error.is_retry());
        tokio::time::sleep(pause).await;
    }
}

/// Commits when there is something to commit.
async fn finish(tx: Tx, answers: &[Answer]) -> Result<(), EngineError> {
    if answers
        .iter()
        .any(|answer| matches!(answer, Answer::Recorded(_)))
    {
        tx.commit().await
    } else {
        tx.rollback().await;
        Ok(())
    }
}

/// After a commit of unknown outcome, what reads like a repeat may be the deed itself:
/// it is when the books hold exactly what was to be answered.
async fn keep_promises(
    db: &Db,
    mut answers: Vec<Answer>,
    promised: Option<Vec<Answer>>,
) -> Vec<Answer> {
    let Some(promised) = promised else {
        return answers;
    };
    let mut kept: Vec<(usize, Stamp)> = Vec::new();
    for (i, pair) in answers.iter().zip(promised).enumerate() {
        if let (Answer::Repeated { entry }, Answer::Recorded(stamp)) = pair
            && *entry == stamp.entry
        {
            kept.push((i, stamp));
        }
    }
    let ids: Vec<Val<'_>> = kept.iter().map(|(_, stamp)| stamp.entry.into()).collect();
    match stamps(db, &ids).await {
        Ok(stored) => {
            for (i, stamp) in kept {
                if stored.get(&stamp.entry) == Some(&stamp) {
                    answers[i] = Answer::Recorded(stamp);
                }
            }
        }
        // A repeat is what it looks like, and tells the caller the same.
        Err(error) => tracing::warn!(%error, "a recorded deed is answered as a repeat"),
    }
    answers
}

/// Entries as they are stored.
async fn stamps(db: &Db, ids: &[Val<'_>]) -> Result<BTreeMap<i64, Stamp>, EngineError> {
    if ids.is_empty() {
        return Ok(BTreeMap::new());
    }
    let mut tx = db.read().await?;
    let rows = tx
        .fetch_keys(
            "SELECT e.id, e.recorded_us, l.id FROM entry e \
             LEFT JOIN late l ON l.entry = e.id WHERE e.id IN ({keys})",
            1,
            ids,
        )
        .await?;
    Ok(rows
        .iter()
        .map(|row| {
            let stamp = Stamp {
                entry: row.int(0),
                recorded_us: row.int(1),
                late: row.maybe_int(2),
            };
            (stamp.entry, stamp)
        })
        .collect())
}

/// Everything up to COMMIT: lock, look, decide, insert.
async fn prepare(db: &Db, deeds: &[Deed]) -> Result<(Tx, Vec<Answer>), EngineError> {
    let mut tx = db.write().await?;
    let heads = lock_heads(&mut tx, &heads_of(deeds)).await?;
    let seen = look(&mut tx, deeds, heads).await?;
    let before = seen.heads.clone();
    let (answers, after) = decide(deeds, seen);
    let recorded: Vec<(&Deed, Stamp)> = deeds
        .iter()
        .zip(&answers)
        .filter_map(|(deed, answer)| match answer {
            Answer::Recorded(stamp) => Some((deed, *stamp)),
            _ => None,
        })
        .collect();
    if !recorded.is_empty() {
        insert(&mut tx, &recorded).await?;
        move_heads(&mut tx, &before, &after).await?;
    }
    Ok((tx, answers))
}

/// The heads a group needs to itself, as (site, day), in the order they are locked in:
/// of its own days and of those it was entered on, of epochs, and of the days of the
/// entries and lots it looks at, spends or writes about.
fn heads_of(deeds: &[Deed]) -> BTreeSet<(i64, i64)> {
    let mut heads = BTreeSet::new();
    for deed in deeds.iter().filter(|deed| deed.malformed().is_none()) {
        heads.insert((deed.site, deed.day));
        heads.extend(deed.pay_day.map(|day| (deed.site, day)));
        heads.extend(deed.bumps.iter().map(|site| (*site, 0)));
        for condition in &deed.must_hold {
            heads.insert(match condition {
                Condition::Epoch { site: 0, .. }
                | Condition::SpendOwn { .. }
                | Condition::Fence { .. } => continue,
                Condition::Epoch { site, .. } => (*site, 0),
                Condition::Spend { what: id, .. }
                | Condition::Stands { ticket: id }
                | Condition::LotSeen { number: id, .. }
                | Condition::Unmoved { number: id } => head_of(*id),
            });
        }
        heads.extend(deed.rows.iter().filter_map(|row| {
            // The entry's own id stands for its own day, which is there already.
            is_about_lot(row.table)
                .then(|| row.int("number", 0))
                .flatten()
                .map(head_of)
        }));
    }
    heads
}

/// The head under whose lock an entry or a lot number is looked at.
fn head_of(id: i64) -> (i64, i64) {
    let (day, site, _) = entry_parts(id);
    (site, day)
}

/// Tables that say what happened to a lot after it was made.
static ABOUT_LOTS: [&Table; 5] = [&SHIFT, &INWARD, &MOVE, &MAKING_IN, &COUNTED];

fn is_about_lot(table: &'static Table) -> bool {
    ABOUT_LOTS.iter().any(|other| std::ptr::eq(*other, table))
}

impl Row {
    /// The whole number in a column, when there is one.
    fn int(&self, column: &str, own: i64) -> Option<i64> {
        self.cells.get(self.table.place_of(column)?)?.int(own)
    }
}

impl Deed {
    /// Numbers it takes right after its own entry's: those of the blocks it asks for.
    fn numbers_ahead(&self) -> i64 {
        self.rows
            .iter()
            .filter(|row| std::ptr::eq(row.table, &BLOCK))
            .filter_map(|row| row.int("numbers", 0))
            .sum()
    }

    /// What is wrong with it, seen without the books.
    fn malformed(&self) -> Option<String> {
        let is_id = |id: i64| id >= 0;
        if !is_site(self.site) || !is_day(self.day) {
            return Some(format!("no day: {} at site {}", self.day, self.site));
        }
        if let Some(day) = self.pay_day
            && (!is_day(day) || day == self.day)
        {
            return Some(format!("late for {} on {day}", self.day));
        }
        if let Some(site) = self.bumps.iter().find(|site| !is_site(**site)) {
            return Some(format!("no site: {site}"));
        }
        let impossible = self.must_hold.iter().find(|condition| match condition {
            Condition::Epoch { site, .. } | Condition::Fence { site, .. } => !is_site(*site),
            Condition::SpendOwn { item, .. } => *item < 1,
            Condition::Spend { what: id, .. }
            | Condition::Stands { ticket: id }
            | Condition::LotSeen { number: id, .. }
            | Condition::Unmoved { number: id } => !is_id(*id),
        });
        if let Some(condition) = impossible {
            return Some(format!("no entry or site: {condition:?}"));
        }
        for row in &self.rows {
            let name = row.table.name;
            if row.cells.len() != row.table.columns.len() {
                return Some(format!("a row of {name} has another width"));
            }
            if std::ptr::eq(row.table, &BLOCK)
                && !row
                    .int("numbers", 0)
                    .is_some_and(|numbers| (1..=MOST_NUMBERS).contains(&numbers))
            {
                return Some("a block of no numbers, or too many".to_owned());
            }
            if is_about_lot(row.table) && !row.int("number", 0).is_some_and(is_id) {
                return Some(format!("a row of {name} without a lot"));
            }
        }
        None
    }
}

/// Makes the heads that are missing, and locks them all.
async fn lock_heads(tx: &mut Tx, heads: &BTreeSet<(i64, i64)>) -> Result<Heads, EngineError> {
    let keys = pairs(heads);
    tx.execute_keys(
        "INSERT INTO head (site, day, next, last_us) \
         SELECT column1, column2, 1, 0 FROM (VALUES {keys}) AS wanted WHERE TRUE \
         ON CONFLICT (site, day) DO NOTHING",
        2,
        &keys,
    )
    .await?;
    let rows = tx
        .lock_keys(
            "SELECT site, day, next, last_us FROM head WHERE (site, day) IN (VALUES {keys}) \
             ORDER BY site, day",
            2,
            &keys,
        )
        .await?;
    Ok(rows
        .iter()
        .map(|row| {
            let head = Head {
                next: row.int(2),
                last_us: row.int(3),
            };
            ((row.int(0), row.int(1)), head)
        })
        .collect())
}

/// Gathers what the group has to know, under its locks.
async fn look(tx: &mut Tx, deeds: &[Deed], heads: Heads) -> Result<Seen, EngineError> {
    let mut seen = Seen {
        heads,
        ..Seen::default()
    };
    let requests: BTreeSet<&str> = deeds.iter().map(|deed| deed.request_id.as_str()).collect();
    let requests: Vec<Val<'_>> = requests.into_iter().map(Val::from).collect();
    let rows = tx
        .fetch_keys(
            "SELECT request_id, print, entry FROM request WHERE request_id IN ({keys})",
            1,
            &requests,
        )
        .await?;
    for row in rows {
        let known = (row.bytes(1).to_vec(), row.int(2));
        seen.requests.insert(row.text(0).to_owned(), known);
    }
    let (mut items, mut lots, mut numbers) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    let mut fenced = BTreeSet::new();
    let mut shared = false;
    for condition in deeds.iter().flat_map(|deed| &deed.must_hold) {
        match condition {
            Condition::Spend { what, item, .. } => _ = items.insert((*what, *item)),
            Condition::Stands { ticket } => _ = items.insert((*ticket, 0)),
            Condition::LotSeen { number, place, .. } => _ = lots.insert((*number, *place)),
            Condition::Unmoved { number } => _ = numbers.insert(*number),
            Condition::Epoch { site, .. } => shared |= *site == SHARED,
            Condition::Fence { site, .. } => _ = fenced.insert(*site),
            Condition::SpendOwn { .. } => {}
        }
    }
    if shared && !seen.heads.contains_key(&(SHARED, 0)) {
        let sql = "SELECT next FROM head WHERE site = ? AND day = 0";
        let rows = tx.fetch(sql, &[Val::Int(SHARED)]).await?;
        seen.shared_epoch = rows.first().map_or(1, |row| row.int(0));
    }
    let rows = tx
        .fetch_keys(
            "SELECT what, item, how FROM spent WHERE (what, item) IN (VALUES {keys})",
            2,
            &pairs(&items),
        )
        .await?;
    for row in rows {
        seen.spent
            .insert((row.int(0), row.int(1)), row.text(2).to_owned());
    }
    // Kept from whoever would take the lease until this is written.
    let fenced: Vec<Val<'_>> = fenced.into_iter().map(Val::Int).collect();
    let sql = "SELECT site, fence FROM lease WHERE site IN ({keys}) ORDER BY site";
    for row in tx.lock_keys(sql, 1, &fenced).await? {
        seen.fences.insert(row.int(0), row.int(1));
    }
    seen.lots = look_at_lots(tx, &lots).await?;
    let numbers: Vec<Val<'_>> = numbers.into_iter().map(Val::Int).collect();
    for table in ABOUT_LOTS {
        let name = table.name;
        let sql = format!("SELECT DISTINCT number FROM {name} WHERE number IN ({{keys}})");
        let rows = tx.fetch_keys(&sql, 1, &numbers).await?;
        seen.moved.extend(rows.iter().map(|row| row.int(0)));
    }
    Ok(seen)
}

/// How many rows say what happened to each of these lots.
async fn look_at_lots(
    tx: &mut Tx,
    lots: &BTreeSet<(i64, i64)>,
) -> Result<BTreeMap<(i64, i64), i64>, EngineError> {
    let mut counts = BTreeMap::new();
    for table in ABOUT_LOTS {
        let name = table.name;
        let sql = format!(
            "SELECT number, place, COUNT(*) FROM {name} \
             WHERE (number, place) IN (VALUES {{keys}}) GROUP BY number, place"
        );
        for row in tx.fetch_keys(&sql, 2, &pairs(lots)).await? {
            *counts.entry((row.int(0), row.int(1))).or_insert(0) += row.int(2);
        }
    }
    Ok(counts)
}

/// Writes the rows of recorded deeds, table by table.
async fn insert(tx: &mut Tx, recorded: &[(&Deed, Stamp)]) -> Result<(), EngineError> {
    for table in ALL {
        let mut vals = own_rows(table, recorded);
        for (deed, stamp) in recorded {
            for row in deed
                .rows
                .iter()
                .filter(|row| std::ptr::eq(row.table, *table))
            {
                vals.extend(row.cells.iter().map(|cell| cell.val(stamp.entry)));
            }
        }
        tx.insert_flat(table, &vals).await?;
    }
    Ok(())
}

/// The rows of a table that every deed has by itself.
fn own_rows<'a>(table: &'static Table, recorded: &'a [(&Deed, Stamp)]) -> Vec<Val<'a>> {
    let mut vals: Vec<Val<'a>> = Vec::new();
    for (deed, stamp) in recorded {
        let own = Val::Int(stamp.entry);
        if std::ptr::eq(table, &ENTRY) {
            vals.extend([
                own,
                Val::Text(deed.kind),
                Val::Text(&deed.party),
                Val::Text(&deed.actor),
                Val::Int(deed.happened_us),
                Val::Int(stamp.recorded_us),
                Val::Text(&deed.doc),
            ]);
        } else if std::ptr::eq(table, &REQUEST) {
            vals.extend([Val::Text(&deed.request_id), Val::Bytes(&deed.print), own]);
        } else if std::ptr::eq(table, &LATE) {
            let late = stamp.late.map(|late| [Val::Int(late), own]);
            vals.extend(late.into_iter().flatten());
        } else if std::ptr::eq(table, &SPENT) {
            for condition in &deed.must_hold {
                let (what, item, how) = match condition {
                    Condition::Spend { what, item, how } => (Val::Int(*what), item, how),
                    Condition::SpendOwn { item, how } => (own, item, how),
                    _ => continue,
                };
                vals.extend([what, Val::Int(*item), Val::Text(how), own]);
            }
        }
    }
    vals
}

/// Moves the heads that the group moved.
async fn move_heads(tx: &mut Tx, before: &Heads, after: &Heads) -> Result<(), EngineError> {
    let mut keys = Vec::new();
    for ((site, day), head) in after {
        if before.get(&(*site, *day)) != Some(head) {
            keys.extend([*site, *day, head.next, head.last_us].map(Val::Int));
        }
    }
    tx.execute_keys(
        "UPDATE head SET next = moved.column3, last_us = moved.column4 \
         FROM (VALUES {keys}) AS moved \
         WHERE head.site = moved.column1 AND head.day = moved.column2",
        HEAD.columns.len(),
        &keys,
    )
    .await
}

fn pairs(pairs: &BTreeSet<(i64, i64)>) -> Vec<Val<'static>> {
    pairs
        .iter()
        .flat_map(|(a, b)| [Val::Int(*a), Val::Int(*b)])
        .collect()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
