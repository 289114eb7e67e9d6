//! Money, double entry: every row leaves one account and enters another.
//!
//! An account is (site, kind, party) in the site's currency; the site is the
//! entry's. `owed` and `held` are what a party is owed, and not owed yet.

use rules::business_day::next_day;

use crate::db::{Tx, Val};
use crate::table::{Cell, MONEY, Row};
use crate::{BooksError, entry_id, entry_parts};

/// An account of the site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Account<'a> {
    kind: &'static str,
    party: &'a str,
}

impl<'a> Account<'a> {
    /// The site's own account of a kind.
    #[must_use]
    pub const fn site(kind: &'static str) -> Account<'a> {
        Account { kind, party: "" }
    }

    /// A party's account of a kind.
    #[must_use]
    pub const fn of(kind: &'static str, party: &'a str) -> Account<'a> {
        Account { kind, party }
    }
}

/// A posting: from, to, and minor units.
pub type Posting<'a> = (Account<'a>, Account<'a>, i64);

/// Rows of money that is no ticket's pay; nothing is no row.
pub fn rows<'a>(postings: impl IntoIterator<Item = Posting<'a>>) -> Vec<Row> {
    let postings = postings.into_iter();
    ticket_rows(postings.map(|posting| (Cell::Int(0), posting)))
}

/// Rows of the pay of tickets, each with the number that the ticket's lot codes bear.
pub fn ticket_rows<'a>(postings: impl IntoIterator<Item = (Cell, Posting<'a>)>) -> Vec<Row> {
    let postings = postings.into_iter();
    let some = postings.filter(|(_, (_, _, amount))| *amount != 0);
    (1_i64..)
        .zip(some)
        .map(|(n, (ticket, (from, to, amount)))| {
            Row::new(
                &MONEY,
                [
                    Cell::Own,
                    n.into(),
                    from.kind.into(),
                    from.party.into(),
                    to.kind.into(),
                    to.party.into(),
                    amount.into(),
                    ticket,
                ],
            )
        })
        .collect()
}

/// What a payee has of a ticket's pay, minor units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Has {
    /// Party code.
    pub party: String,
    /// Owed, whether it was handed over or not.
    pub owed: i64,
    /// Not owed yet.
    pub held: i64,
}

/// What each payee has of the pay of the ticket whose lot codes bear `number`, those
/// who first had any first. With `by` only what that entry posted.
///
/// # Errors
/// Engine trouble.
pub async fn of_ticket(tx: &mut Tx, number: i64, by: Option<i64>) -> Result<Vec<Has>, BooksError> {
    let side = |end: &str, sign: &str| {
        format!(
            "SELECT {end}_party AS party, entry, n, \
             CASE WHEN {end}_kind = 'owed' THEN {sign} amount ELSE 0 END AS owed, \
             CASE WHEN {end}_kind = 'held' THEN {sign} amount ELSE 0 END AS held \
             FROM money WHERE ticket = ? AND {end}_kind IN ('owed', 'held'){}",
            if by.is_some() { " AND entry = ?" } else { "" }
        )
    };
    let sql = format!(
        "SELECT party, owed, held FROM ({} UNION ALL {}) posted ORDER BY entry, n",
        side("to", ""),
        side("from", "-"),
    );
    let one = [Some(Val::Int(number)), by.map(Val::Int)];
    let binds: Vec<Val<'_>> = [one, one].into_iter().flatten().flatten().collect();
    let mut all: Vec<Has> = Vec::new();
    for row in tx.fetch(&sql, &binds).await? {
        let (party, owed, held) = (row.text(0), row.int(1), row.int(2));
        match all.iter_mut().find(|has| has.party == party) {
            Some(has) => {
                has.owed += owed;
                has.held += held;
            }
            None => all.push(Has {
                party: party.to_owned(),
                owed,
                held,
            }),
        }
    }
    Ok(all)
}

/// A change of what a party is owed and of what is held, by one entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Business day on whose statement it stands.
    pub pay_day: i64,
    /// The entry.
    pub entry: i64,
    /// The deed.
    pub kind: String,
    /// Minor units.
    pub owed: i64,
    /// Minor units.
    pub held: i64,
    /// Handed over, minor units.
    pub paid: i64,
    /// Taken off for advances and charges, minor units.
    pub taken_off: i64,
    /// Advances and charges that came to be taken off, minor units.
    pub to_take_off: i64,
}

impl Change {
    fn is_any(&self) -> bool {
        [
            self.owed,
            self.held,
            self.paid,
            self.taken_off,
            self.to_take_off,
        ]
        .iter()
        .any(|minor| *minor != 0)
    }
}

/// Changes of a party's pay that were entered on business days in `[from, to)`,
/// in the order of entering.
///
/// # Errors
/// Engine trouble.
pub async fn changes(
    tx: &mut Tx,
    site: i64,
    party: &str,
    from: i64,
    to: i64,
) -> Result<Vec<Change>, BooksError> {
    // An entry stands under its own number, a late one under that of the day it
    // was entered. Both ranges are ranges of a primary key.
    let own = "FROM entry e JOIN money m ON m.entry = e.id LEFT JOIN late l ON l.entry = e.id \
               WHERE e.id >= ? AND e.id < ? AND l.id IS NULL";
    let late = "FROM late l JOIN entry e ON e.id = l.entry JOIN money m ON m.entry = e.id \
                WHERE l.id >= ? AND l.id < ?";
    let (first, last) = (entry_id(from, site, 0), entry_id(to, site, 0));
    let party = Val::from(party);
    let binds = [
        party,
        party,
        party,
        party,
        party,
        party,
        party,
        party,
        party,
        party,
        Val::Int(first),
        Val::Int(last),
        party,
        party,
    ];
    let mut rows = Vec::new();
    for source in [own, late] {
        let sql = format!(
            "SELECT e.id, e.kind, COALESCE(l.id, e.id), {}, {}, {}, {}, {} {source} \
             AND (m.to_party = ? OR m.from_party = ?) GROUP BY e.id, e.kind, l.id",
            net("owed"),
            net("held"),
            net("paid"),
            net("advance"),
            net("carry"),
        );
        rows.extend(tx.fetch(&sql, &binds).await?);
    }
    rows.sort_by_key(|row| row.int(2));
    let site_of = |id: i64| entry_parts(id).1;
    let read = rows
        .iter()
        .filter(|row| site_of(row.int(2)) == site)
        .map(|row| Change {
            pay_day: entry_parts(row.int(2)).0,
            entry: row.int(0),
            kind: row.text(1).to_owned(),
            owed: row.int(3),
            held: row.int(4),
            paid: row.int(5),
            // What is still to be taken off stands below zero on these accounts, and
            // goes up again by what is taken off, or was taken back.
            taken_off: if row.text(1) == "take_back" {
                0
            } else {
                row.int(6).max(0) + row.int(7).max(0)
            },
            to_take_off: if row.text(1) == "take_back" {
                -(row.int(6) + row.int(7))
            } else {
                -(row.int(6).min(0) + row.int(7).min(0))
            },
        });
    Ok(read.filter(Change::is_any).collect())
}

/// SQL for what a party's account of a kind gains within a group of rows.
fn net(kind: &str) -> String {
    format!(
        "CAST(SUM(CASE WHEN m.to_kind = '{kind}' AND m.to_party = ? THEN m.amount ELSE 0 END \
         - CASE WHEN m.from_kind = '{kind}' AND m.from_party = ? THEN m.amount ELSE 0 END) AS BIGINT)"
    )
}

/// What a party is owed, and what is held, by all that was entered before a
/// business day: the last closed day before it, and what was entered since.
///
/// # Errors
/// Engine trouble.
pub async fn balance_before(
    tx: &mut Tx,
    site: i64,
    party: &str,
    day: i64,
) -> Result<(i64, i64), BooksError> {
    let sql = "SELECT p.day, p.owed, p.held FROM party_day p \
               JOIN close_now c ON c.site = p.site AND c.day = p.day AND c.revision = p.revision \
               WHERE p.site = ? AND p.party = ? AND p.day < ? ORDER BY p.day DESC LIMIT 1";
    let binds = [Val::Int(site), Val::from(party), Val::Int(day)];
    let rows = tx.fetch(sql, &binds).await?;
    let (from, owed, held) = rows.first().map_or((FIRST_DAY, 0, 0), |row| {
        (next_day(row.int(0)).unwrap_or(day), row.int(1), row.int(2))
    });
    let since = changes(tx, site, party, from, day).await?;
    Ok(since.iter().fold((owed, held), |(o, h), change| {
        (o + change.owed, h + change.held)
    }))
}

/// Before any day of any book.
const FIRST_DAY: i64 = 10_000_101;

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
