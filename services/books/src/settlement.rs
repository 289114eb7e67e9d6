//! Settling: what is open of a payee's pay, what is to be taken off it, what was
//! paid, what is disputed, and what was in the drawer.
//!
//! Open is every money row on the payee's `owed` account that no settlement has
//! spent: row n of an entry is its item [`PAID`] + n. Settlements of a payee at a
//! site are a chain, each spending the one before, the first an item of the party's
//! own register entry; so two of them cannot take the same pay. Whoever pays for a
//! landing for the first time also spends item [`PAID`] of its lots' number, and so
//! does a void: a landing is either paid for or voided.

use rules::ids::{DayNumber, EntryId};
use rules::settlement::{Due, Method, Payment, Settled};
use rules::stock::{Held, HoldAsked, Moved, MovementAsked, ReleaseAsked, Released};
use rules::ticket::{Ticket, VoidAsked, WeighIn};

use crate::db::{Record, Tx, Val};
use crate::doc::BadDoc;
use crate::entries::{self, Entry};
use crate::pay::{self, Account};
use crate::table::{Cell, DEDUCTION, DISPUTE, DRAWER, PAYMENT, SETTLEMENT, SETTLEMENT_ITEM};
use crate::{BooksError, Condition, Row, corrupt, entry_id, entry_parts};

/// The item of a lots' number that is spent by the first settlement of the landing,
/// or by its void; row n of an entry's money is item `PAID + n`.
pub const PAID: i64 = 1_000_000;

/// The item of a party's first register entry, plus the site's number, that its
/// first settlement at the site spends.
const FIRST: i64 = 10_000;

/// Open pay: what one entry did to what a payee is owed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Open {
    /// Business day on which it was entered.
    pub pay_day: DayNumber,
    /// The entry.
    pub entry: i64,
    /// The deed.
    pub kind: String,
    /// Its money rows, by their numbers.
    pub rows: Vec<i64>,
    /// What they add up to, minor units.
    pub minor: i64,
}

impl Open {
    /// What settling it spends.
    #[must_use]
    pub fn spends(&self) -> Vec<Condition> {
        let spend = |n: &i64| Condition::Spend {
            what: self.entry,
            item: PAID + n,
            how: "settle",
        };
        self.rows.iter().map(spend).collect()
    }
}

/// Pay of a payee at a site that no settlement has taken up, entered on `from` or
/// later, in the order of entering.
///
/// # Errors
/// Engine trouble.
pub async fn open(
    tx: &mut Tx,
    site: i64,
    payee: &str,
    from: DayNumber,
) -> Result<Vec<Open>, BooksError> {
    let columns = "COALESCE(l.id, e.id), e.id, e.kind, m.n, \
                   CASE WHEN m.to_kind = 'owed' AND m.to_party = ? THEN m.amount ELSE 0 END \
                   - CASE WHEN m.from_kind = 'owed' AND m.from_party = ? THEN m.amount ELSE 0 END";
    let own = "FROM entry e JOIN money m ON m.entry = e.id LEFT JOIN late l ON l.entry = e.id \
               LEFT JOIN spent s ON s.what = m.entry AND s.item = m.n + 1000000 \
               WHERE e.id >= ? AND l.id IS NULL";
    let late = "FROM late l JOIN entry e ON e.id = l.entry JOIN money m ON m.entry = e.id \
                LEFT JOIN spent s ON s.what = m.entry AND s.item = m.n + 1000000 \
                WHERE l.id >= ?";
    let party = Val::from(payee);
    let binds = [party, party, Val::Int(entry_id(from, 0, 0)), party, party];
    let mut rows = Vec::new();
    for source in [own, late] {
        let sql = format!(
            "SELECT {columns} {source} AND s.what IS NULL AND e.kind <> 'settle' \
             AND ((m.to_kind = 'owed' AND m.to_party = ?) \
               OR (m.from_kind = 'owed' AND m.from_party = ?))"
        );
        rows.extend(tx.fetch(&sql, &binds).await?);
    }
    rows.sort_by_key(|row| (row.int(0), row.int(3)));
    let mut open: Vec<Open> = Vec::new();
    for row in rows.iter().filter(|row| entry_parts(row.int(0)).1 == site) {
        let (n, minor) = (row.int(3), row.int(4));
        match open.last_mut() {
            Some(last) if last.entry == row.int(1) => {
                last.rows.push(n);
                last.minor += minor;
            }
            _ => open.push(Open {
                pay_day: entry_parts(row.int(0)).0,
                entry: row.int(1),
                kind: row.text(2).to_owned(),
                rows: vec![n],
                minor,
            }),
        }
    }
    Ok(open)
}

/// The landing that an entry's pay is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Landing {
    /// Number of its lots.
    pub number: i64,
    /// Harvester of record; empty where the entry does not say.
    pub harvester: String,
    /// The trade's word for what the entry did.
    pub what: &'static str,
}

/// The landing that an entry's pay is about.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn landing_of(tx: &mut Tx, id: i64) -> Result<Landing, BooksError> {
    let missing = || corrupt("money", "entry", id, BadDoc::here("an entry"));
    let entry = entries::get(tx, id).await?.ok_or_else(missing)?;
    let about = |number: i64, what| Landing {
        number,
        harvester: entry.party.clone(),
        what,
    };
    Ok(match entry.kind.as_str() {
        "weigh_in" => of_ticket(&entry)?,
        "void" => {
            let (asked, ()): (VoidAsked, ()) = entry.read()?;
            let ticket = entries::get(tx, asked.ticket).await?.ok_or_else(missing)?;
            Landing {
                what: "void",
                ..of_ticket(&ticket)?
            }
        }
        "hold" => {
            let (_, held): (HoldAsked, Held) = entry.read()?;
            about(held.held.lot.number(), "hold")
        }
        "release" => {
            let (_, released): (ReleaseAsked, Released) = entry.read()?;
            about(released.part.lot.number(), "release")
        }
        "movement" => {
            let (_, moved): (MovementAsked, Moved) = entry.read()?;
            let lot = moved.taken.first().map(|taken| taken.part.lot.number());
            let what = thrown_out(&moved);
            Landing {
                harvester: String::new(),
                ..about(lot.unwrap_or(id), what)
            }
        }
        _ => about(id, "other"),
    })
}

/// What fish that was thrown out means for its pay, in the trade's words.
#[must_use]
pub fn thrown_out(moved: &Moved) -> &'static str {
    if moved.buyers_loss.is_some() {
        "thrown out, the buyer's loss"
    } else {
        "thrown out unpaid"
    }
}

fn of_ticket(entry: &Entry) -> Result<Landing, BooksError> {
    let (asked, ticket): (WeighIn, Ticket) = entry.read()?;
    Ok(Landing {
        number: ticket.number.unwrap_or(entry.id.number()),
        harvester: asked.harvester,
        what: if asked.rewrites.is_some() {
            "rewritten ticket"
        } else {
            "ticket"
        },
    })
}

/// Where a payee's next settlement at a site goes on from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    /// The last settlement, with how it came out.
    pub last: Option<(i64, Settled)>,
    /// What the next one spends, so that there is only one next one.
    pub spends: Condition,
    /// Pay entered before this day is settled.
    pub open_from: DayNumber,
}

/// Where a payee's next settlement at a site goes on from; `None` where the party
/// is not on file.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn chain(tx: &mut Tx, site: i64, payee: &str) -> Result<Option<Chain>, BooksError> {
    let spend = |what, item| Condition::Spend {
        what,
        item,
        how: "settle",
    };
    let sql = "SELECT s.entry FROM settlement s \
               LEFT JOIN spent x ON x.what = s.entry AND x.item = 0 \
               WHERE s.payee = ? AND x.what IS NULL ORDER BY s.entry";
    let rows = tx.fetch(sql, &[Val::from(payee)]).await?;
    let mut last = rows.iter().map(|row| row.int(0));
    if let Some(last) = last.find(|id| entry_parts(*id).1 == site) {
        let settled = settlement(tx, last).await?;
        let settled = settled
            .ok_or_else(|| corrupt("settlement", "entry", last, BadDoc::here("an entry")))?;
        return Ok(Some(Chain {
            open_from: settled.open_from,
            last: Some((last, settled)),
            spends: spend(last, 0),
        }));
    }
    let sql = "SELECT MIN(entry) FROM register WHERE kind = 'party' AND code = ?";
    let rows = tx.fetch(sql, &[Val::from(payee)]).await?;
    let first = rows.first().and_then(|row| row.maybe_int(0));
    Ok(first.map(|first| {
        let on_file = entry_parts(first).0;
        // That entry has the day of UTC, a ticket the site's: one may be ahead.
        let day_before = rules::business_day::day_before(on_file).unwrap_or(on_file);
        Chain {
            last: None,
            spends: spend(first, FIRST + site),
            open_from: day_before,
        }
    }))
}

/// How a settlement came out; `None` where there is none of that id.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn settlement(tx: &mut Tx, id: i64) -> Result<Option<Settled>, BooksError> {
    let entry = entries::get(tx, id)
        .await?
        .filter(|entry| entry.kind == "settle");
    entry
        .map(|entry| {
            entry
                .read::<rules::settlement::SettleAsked, Settled>()
                .map(|(_, settled)| settled)
        })
        .transpose()
}

/// Advances and charges of a payee at a site that no settlement has taken up, in
/// the order of their entries.
///
/// # Errors
/// Engine trouble.
pub async fn dues(
    tx: &mut Tx,
    site: i64,
    payee: &str,
    currency: rules::money::Currency,
) -> Result<Vec<Due>, BooksError> {
    let sql = "SELECT d.entry, d.advance, d.name, d.place, d.amount FROM deduction d \
               LEFT JOIN spent x ON x.what = d.entry AND x.item = 0 \
               WHERE d.payee = ? AND x.what IS NULL ORDER BY d.entry";
    let rows = tx.fetch(sql, &[Val::from(payee)]).await?;
    let of_site = rows.iter().filter(|row| entry_parts(row.int(0)).1 == site);
    Ok(of_site
        .map(|row| Due {
            entry: row.int(0),
            advance: row.int(1) == 1,
            name: row.text(2).to_owned(),
            order: row.int(3),
            left: rules::money::Money::new(row.int(4), currency),
        })
        .collect())
}

/// The rows of a settlement beside its entry: what it took up, what it took off,
/// what it paid.
#[must_use]
pub fn settlement_rows(payee: &str, settled: &Settled, payments: &[Payment]) -> Vec<Row> {
    let left: i64 = settled
        .deductions
        .iter()
        .filter_map(rules::settlement::Deducted::carried)
        .map(|due| due.left.minor())
        .sum();
    let mut rows = vec![Row::new(
        &SETTLEMENT,
        [
            Cell::Own,
            payee.into(),
            settled.payable.minor().into(),
            settled.deducted.minor().into(),
            (left - settled.carried.minor()).into(),
            settled.paid.minor().into(),
        ],
    )];
    let pay = settled
        .items
        .iter()
        .map(|item| (item.entry, item.amount.minor()));
    let brought = settled
        .before
        .map(|before| (before, settled.brought.minor()));
    let taken = settled
        .deductions
        .iter()
        .map(|row| (row.due.entry, -row.taken.minor()));
    rows.extend(
        (1_i64..)
            .zip(pay.chain(brought).chain(taken))
            .map(|(n, (what, minor))| {
                Row::new(
                    &SETTLEMENT_ITEM,
                    [Cell::Own, n.into(), what.into(), minor.into()],
                )
            }),
    );
    rows.extend(payment_rows(payee, payments));
    let owed = Account::of("owed", payee);
    let off = settled.deductions.iter().map(|row| {
        let to = if row.due.advance { "advance" } else { "carry" };
        (owed, Account::of(to, payee), row.taken.minor())
    });
    let out = payments
        .iter()
        .map(|payment| (owed, Account::of("paid", payee), payment.amount.minor()));
    rows.extend(pay::rows(off.chain(out)));
    rows
}

fn payment_rows(payee: &str, payments: &[Payment]) -> Vec<Row> {
    let row = |(n, payment): (i64, &Payment)| {
        Row::new(
            &PAYMENT,
            [
                Cell::Own,
                n.into(),
                payee.into(),
                payment.method.word().into(),
                payment.reference.as_str().into(),
                payment.amount.minor().into(),
            ],
        )
    };
    (1..).zip(payments).map(row).collect()
}

/// The rows of an advance beside its entry: paid now, to be taken off first.
#[must_use]
pub fn advance_rows(payee: &str, name: &str, payment: &Payment) -> Vec<Row> {
    let mut rows = payment_rows(payee, std::slice::from_ref(payment));
    let minor = payment.amount.minor();
    rows.push(deduction_row(payee, true, name, 0, minor));
    let advance = Account::of("advance", payee);
    rows.extend(pay::rows([(advance, Account::of("paid", payee), minor)]));
    rows
}

/// The rows of a charge beside its entry: borne by the payee from now on.
#[must_use]
pub fn charge_rows(payee: &str, name: &str, order: i64, minor: i64) -> Vec<Row> {
    let mut rows = vec![deduction_row(payee, false, name, order, minor)];
    let carry = Account::of("carry", payee);
    rows.extend(pay::rows([(carry, Account::of("deduction", payee), minor)]));
    rows
}

/// How an entry is spent that takes back an advance or a charge.
pub const TAKEN_BACK: &str = "take back";

/// The rows that take back an advance or a charge: what it posted, the other way.
#[must_use]
pub fn take_back_rows(payee: &str, advance: bool, minor: i64) -> Vec<Row> {
    let (of, to) = if advance {
        ("paid", "advance")
    } else {
        ("deduction", "carry")
    };
    pay::rows([(Account::of(of, payee), Account::of(to, payee), minor)])
}

fn deduction_row(payee: &str, advance: bool, name: &str, order: i64, minor: i64) -> Row {
    Row::new(
        &DEDUCTION,
        [
            Cell::Own,
            payee.into(),
            i64::from(advance).into(),
            name.into(),
            order.into(),
            minor.into(),
        ],
    )
}

/// A payment as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredPayment {
    /// Entry that made it.
    pub entry: i64,
    /// When it was handed over.
    pub happened_us: i64,
    /// In what form.
    pub method: Method,
    /// Number of the check or transfer.
    pub reference: String,
    /// Minor units.
    pub minor: i64,
}

/// Payments to a payee at all sites that were handed over in `[from_us, to_us)`,
/// in the order of their entries. An advance that was taken back is none.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn payments(
    tx: &mut Tx,
    payee: &str,
    from_us: i64,
    to_us: i64,
) -> Result<Vec<StoredPayment>, BooksError> {
    let sql = "SELECT p.entry, e.happened_us, p.method, p.reference, p.amount \
               FROM payment p JOIN entry e ON e.id = p.entry \
               LEFT JOIN spent x ON x.what = p.entry AND x.item = 0 AND x.how = 'take back' \
               WHERE x.what IS NULL AND p.payee = ? AND e.happened_us >= ? AND e.happened_us < ? \
               ORDER BY p.entry, p.n";
    let binds = [Val::from(payee), Val::Int(from_us), Val::Int(to_us)];
    let rows = tx.fetch(sql, &binds).await?;
    rows.iter().map(payment).collect()
}

fn payment(row: &Record) -> Result<StoredPayment, BooksError> {
    let method = Method::from_word(row.text(2)).ok_or_else(|| {
        corrupt(
            "payment",
            "method",
            row.int(0),
            BadDoc::here("a known word"),
        )
    })?;
    Ok(StoredPayment {
        entry: row.int(0),
        happened_us: row.int(1),
        method,
        reference: row.text(3).to_owned(),
        minor: row.int(4),
    })
}

/// Currency paid out on a site's business day, minor units.
///
/// # Errors
/// Engine trouble.
pub async fn currency_paid(tx: &mut Tx, site: i64, day: DayNumber) -> Result<i64, BooksError> {
    let sql = "SELECT CAST(COALESCE(SUM(p.amount), 0) AS BIGINT) FROM payment p \
               LEFT JOIN spent x ON x.what = p.entry AND x.item = 0 AND x.how = 'take back' \
               WHERE x.what IS NULL AND p.entry BETWEEN ? AND ? AND p.method = ?";
    let binds = [
        Val::Int(entry_id(day, site, 0)),
        Val::Int(entry_id(day, site, 9_999_999)),
        Val::from(Method::Currency.word()),
    ];
    let rows = tx.fetch(sql, &binds).await?;
    Ok(rows.first().map_or(0, |row| row.int(0)))
}

/// The row of a drawer's count.
#[must_use]
pub fn drawer_row(site: i64, day: DayNumber, opening: i64, counted: i64) -> Row {
    Row::new(
        &DRAWER,
        [
            Cell::Own,
            site.into(),
            day.into(),
            opening.into(),
            counted.into(),
        ],
    )
}

/// Entries of the counts of a day's drawer, oldest first.
///
/// # Errors
/// Engine trouble.
pub async fn drawer_counts(tx: &mut Tx, site: i64, day: DayNumber) -> Result<Vec<i64>, BooksError> {
    let sql = "SELECT entry FROM drawer WHERE site = ? AND day = ? ORDER BY entry";
    let rows = tx.fetch(sql, &[Val::Int(site), Val::Int(day)]).await?;
    Ok(rows.iter().map(|row| row.int(0)).collect())
}

/// The row of a dispute.
#[must_use]
pub fn dispute_row(ticket: i64, line: i64, party: &str) -> Row {
    Row::new(
        &DISPUTE,
        [Cell::Own, ticket.into(), line.into(), party.into()],
    )
}

/// A dispute, and the entry that answered it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Disputed {
    /// The dispute.
    pub entry: i64,
    /// Its ticket.
    pub ticket: i64,
    /// Number of the line, 0 for the whole ticket.
    pub line: i64,
    /// Its answer; absent while it is open.
    pub answer: Option<i64>,
}

const DISPUTES: &str = "SELECT d.entry, d.ticket, d.line, x.by FROM dispute d \
                        LEFT JOIN spent x ON x.what = d.entry AND x.item = 0";

fn disputed(row: &Record) -> Disputed {
    Disputed {
        entry: row.int(0),
        ticket: row.int(1),
        line: row.int(2),
        answer: row.maybe_int(3),
    }
}

/// Disputes of a ticket, oldest first.
///
/// # Errors
/// Engine trouble.
pub async fn disputes_of(tx: &mut Tx, ticket: i64) -> Result<Vec<Disputed>, BooksError> {
    let sql = format!("{DISPUTES} WHERE d.ticket = ? ORDER BY d.entry");
    let rows = tx.fetch(&sql, &[Val::Int(ticket)]).await?;
    Ok(rows.iter().map(disputed).collect())
}

/// Open disputes about tickets of a harvester at a site, oldest first.
///
/// # Errors
/// Engine trouble.
pub async fn open_disputes(
    tx: &mut Tx,
    site: i64,
    party: &str,
) -> Result<Vec<Disputed>, BooksError> {
    let sql = format!("{DISPUTES} WHERE d.party = ? AND x.by IS NULL ORDER BY d.entry");
    let rows = tx.fetch(&sql, &[Val::from(party)]).await?;
    let all = rows.iter().map(disputed);
    Ok(all
        .filter(|dispute| entry_parts(dispute.entry).1 == site)
        .collect())
}

/// Disputes that stand open on a site's business day: opened by an entry of that
/// day, and answered by none.
///
/// # Errors
/// Engine trouble.
pub async fn disputes_of_day(
    tx: &mut Tx,
    site: i64,
    day: DayNumber,
) -> Result<Vec<Disputed>, BooksError> {
    let sql = format!("{DISPUTES} WHERE d.entry BETWEEN ? AND ? AND x.by IS NULL ORDER BY d.entry");
    let binds = [
        Val::Int(entry_id(day, site, 0)),
        Val::Int(entry_id(day, site, 9_999_999)),
    ];
    let rows = tx.fetch(&sql, &binds).await?;
    Ok(rows.iter().map(disputed).collect())
}

/// Settlements that took up a ticket's own pay, of whichever payee, oldest first.
///
/// # Errors
/// Engine trouble.
pub async fn settlements_of(tx: &mut Tx, ticket: i64) -> Result<Vec<EntryId>, BooksError> {
    let sql = "SELECT DISTINCT entry FROM settlement_item WHERE what = ? ORDER BY entry";
    let rows = tx.fetch(sql, &[Val::Int(ticket)]).await?;
    Ok(rows
        .iter()
        .filter_map(|row| EntryId::new(row.int(0)))
        .collect())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
