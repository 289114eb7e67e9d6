//! The tables of the books, as the programs that write them see them.
//!
//! One [`Table`] for each table of the schema, its columns in the schema's order,
//! and [`ALL`] in the order in which one deed's rows are written. A [`Row`] is a
//! row not yet written: the id of its own entry is still to come, so it stands in
//! it as [`Cell::Own`]. What the columns mean is written in the migrations.

use crate::db::Val;

/// A table and its columns, in the order in which rows give their values.
#[derive(Debug)]
pub struct Table {
    /// Name in the schema.
    pub name: &'static str,
    /// Every column, in the schema's order.
    pub columns: &'static [&'static str],
}

impl Table {
    /// Where `column` stands in a row of this table.
    pub fn place_of(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|name| *name == column)
    }
}

/// Writes out one static for each table, and the list of them all.
macro_rules! tables {
    ($($(#[$doc:meta])+ $table:ident = $name:ident($($column:ident),+ $(,)?);)+) => {
        $(
            $(#[$doc])+
            pub static $table: Table = Table {
                name: stringify!($name),
                columns: &[$(stringify!($column)),+],
            };
        )+
        /// Every table, in the order in which one group's rows are written.
        pub static ALL: &[&Table] = &[$(&$table),+];
    };
}

tables! {
    /// Sequence of a site's business day.
    HEAD = head(site, day, next, last_us);
    /// Every deed, once.
    ENTRY = entry(id, kind, party, actor, happened_us, recorded_us, doc);
    /// Which request made which entry.
    REQUEST = request(request_id, print, entry);
    /// Number of a late deed on the day it was entered.
    LATE = late(id, entry);
    /// What conditional deeds used up.
    SPENT = spent(what, item, how, by);
    /// What the office keeps on file, every version.
    REGISTER = register(kind, site, code, entry, from_us);
    /// One species in one presentation from one source.
    LOT = lot(
        number, place, entry, site, species, presentation, storage, supplier, making, harvested_us,
    );
    /// What is alike in a lot.
    PART = part(number, place, n, band, grade, condition, hold, undersize, entry);
    /// What is paid: a part as first weighed.
    LINE = line(ticket, n, number, place, part, weight, ice, amount, pay);
    /// Weight moved between parts of one lot.
    SHIFT = shift(entry, n, kind, number, place, from_part, to_part, weight, amount);
    /// Weight a customer brought back.
    INWARD = inward(entry, n, movement, outlet, number, place, part, weight);
    /// Weight leaving for an outlet.
    MOVE = move(entry, n, number, place, part, outlet, party, weight, emptied, amount);
    /// Weight a making took.
    MAKING_IN = making_in(entry, n, number, place, part, weight, emptied);
    /// Where a making's weight went.
    MAKING_OUT = making_out(entry, n, fate, number, place, part, weight);
    /// What was weighed on ice at close.
    COUNTED = counted(entry, n, number, place, part, weight);
    /// What of a room for small fish was filled.
    ROOM_USE = room_use(entry, n, site, room, number, place, part, weight, plan, line);
    /// What people decided about a part and a room.
    CHOICE = choice(entry, site, number, place, part, room);
    /// What was read when fish was weighed again.
    REWEIGH = reweigh(entry, number, place, part, weight, booked, note);
    /// Money, from one account to another.
    MONEY = money(entry, n, from_kind, from_party, to_kind, to_party, amount, ticket);
    /// A payee, settled.
    SETTLEMENT = settlement(entry, payee, payable, deducted, carried, paid);
    /// What a settlement took up.
    SETTLEMENT_ITEM = settlement_item(entry, n, what, amount);
    /// What was paid out.
    PAYMENT = payment(entry, n, payee, method, reference, amount);
    /// Advances and charges, to be taken off what a payee is paid.
    DEDUCTION = deduction(entry, payee, advance, name, place, amount);
    /// A line or a ticket that somebody disputes.
    DISPUTE = dispute(entry, ticket, line, party);
    /// A diver's answer to a yield that is told of their fish.
    YIELD_ANSWER = yield_answer(entry, site, supplier, species, first_day, end_day);
    /// Currency that was in a site's drawer.
    DRAWER = drawer(entry, site, day, opening, counted);
    /// The last a device said of its queue.
    DEVICE_WORD = device_word(entry, site, device, queued, resolved);
    /// Lot numbers a device asked for ahead.
    BLOCK = block(entry, site, device, numbers);
    /// A day, closed.
    CLOSE = close(site, day, revision, entry, manifest, doc, sha256);
    /// How a closed day hangs on the one before it.
    CLOSE_LINK = close_link(
        site, day, revision, upto_seq, opened_with, opened_owing, left_on_hand, left_owing,
    );
    /// What each open part holds as the day turns.
    ON_HAND = on_hand(
        site, day, revision, number, place, part, weight, drip, came_in, cost, held_us,
        budget, harvested_us,
    );
    /// What a count found.
    FOUND = found(site, day, revision, n, number, place, part, by, shrink, unaccounted);
    /// What each party is owed as the day turns.
    PARTY_DAY = party_day(site, day, revision, party, owed, held, owed_today);
    /// A day's cuts of one supplier, species, presentation and specification.
    SUPPLIER_DAY = supplier_day(
        site, day, revision, supplier, species, presentation, specification, customer, cuts, input,
        fillet, mixed_cuts, mixed_input,
    );
    /// What went into a cut whose fillet was weighed.
    CUT_FACT = cut_fact(
        site, day, revision, entry, n, happened_us, cutter, kitchen, specification, species,
        presentation, supplier, band, condition, pieces, weight, fillet, minutes_e2,
    );
    /// A day's weight book, added up.
    WEIGHT_DAY = weight_day(
        site, day, revision, from_place, to_place, supplier, species, weight,
    );
    /// What a close found worth a look.
    FLAG = flag(site, day, revision, key, kind, subject, text, weight, value, gap, evidence);
    /// A flag someone acknowledged.
    FLAG_SEEN = flag_seen(key, entry, reason);
    /// What was turned away.
    REFUSAL = refusal(minute, actor, method, reason, times, request);
    /// Who may run a site's night.
    LEASE = lease(site, holder, fence, until_us);
    /// Who is signed in to the pages.
    SESSION = session(sha256, key, began_us, ends_us, ended_us, opened_by);
    /// Links that sign somebody in once.
    SIGN_IN_LINK = sign_in_link(sha256, entry, key, ends_us);
    /// About the book itself.
    BOOK = book(name, value);
}

/// A value of a row not yet written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cell {
    /// A whole number.
    Int(i64),
    /// Text.
    Text(String),
    /// Bytes.
    Bytes(Vec<u8>),
    /// The id of the entry being written.
    Own,
}

impl Cell {
    /// The value to bind, once the entry's id is known.
    pub fn val(&self, own: i64) -> Val<'_> {
        match self {
            Cell::Int(int) => Val::Int(*int),
            Cell::Text(text) => Val::Text(text),
            Cell::Bytes(bytes) => Val::Bytes(bytes),
            Cell::Own => Val::Int(own),
        }
    }

    /// The whole number here, once the entry's id is known.
    pub fn int(&self, own: i64) -> Option<i64> {
        match self {
            Cell::Int(int) => Some(*int),
            Cell::Own => Some(own),
            Cell::Text(_) | Cell::Bytes(_) => None,
        }
    }
}

impl From<i64> for Cell {
    fn from(int: i64) -> Cell {
        Cell::Int(int)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        Cell::Text(text.to_owned())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Text(text)
    }
}

impl From<Vec<u8>> for Cell {
    fn from(bytes: Vec<u8>) -> Cell {
        Cell::Bytes(bytes)
    }
}

/// A row not yet written.
#[derive(Clone, Debug)]
pub struct Row {
    /// Where it goes.
    pub table: &'static Table,
    /// One value for each of the table's columns.
    pub cells: Vec<Cell>,
}

impl Row {
    /// A row of `table`, one cell for each column.
    pub fn new<const N: usize>(table: &'static Table, cells: [Cell; N]) -> Row {
        debug_assert_eq!(N, table.columns.len(), "cells for {}", table.name);
        Row {
            table,
            cells: cells.into(),
        }
    }
}
