//! Lot numbers that devices asked for ahead.
//!
//! A row of `block` takes as many sequence numbers as it says right after its
//! entry's own: the scribe sees to it. A ticket that bears one spends it, as the
//! item of the block's entry.

use rules::codes::{Block, BlockUse, CodesAsked};

use crate::BooksError;
use crate::db::{Record, Tx, Val};
use crate::table::{BLOCK, Cell, Row};

/// The row of a block that a deed asks for.
#[must_use]
pub fn row(asked: &CodesAsked) -> Row {
    Row::new(
        &BLOCK,
        [
            Cell::Own,
            asked.site.into(),
            asked.device.as_str().into(),
            asked.numbers.into(),
        ],
    )
}

/// The site's last block that begins before a number: the only one that can
/// have it.
///
/// # Errors
/// Engine trouble.
pub async fn before(tx: &mut Tx, site: i64, number: i64) -> Result<Option<Block>, BooksError> {
    let sql = "SELECT entry, device, numbers FROM block WHERE site = ? AND entry < ? \
               ORDER BY entry DESC LIMIT 1";
    let rows = tx.fetch(sql, &[Val::Int(site), Val::Int(number)]).await?;
    Ok(rows.first().map(block))
}

/// Blocks asked for by the entries of a range, both ends in, and blocks that they
/// used numbers of; with how many they used. In the order of asking.
///
/// # Errors
/// Engine trouble.
pub async fn of_day(tx: &mut Tx, range: &[Val<'static>; 2]) -> Result<Vec<BlockUse>, BooksError> {
    let [first, last] = *range;
    let sql = "SELECT b.entry, b.device, b.numbers, COUNT(s.what) FROM block b \
               LEFT JOIN spent s ON s.what = b.entry AND s.by BETWEEN ? AND ? \
               WHERE b.entry BETWEEN ? AND ? \
                  OR b.entry IN (SELECT what FROM spent WHERE by BETWEEN ? AND ?) \
               GROUP BY b.entry, b.device, b.numbers ORDER BY b.entry";
    let rows = tx
        .fetch(sql, &[first, last, first, last, first, last])
        .await?;
    let found = |row: &Record| BlockUse {
        block: block(row),
        used: row.int(3),
    };
    Ok(rows.iter().map(found).collect())
}

fn block(row: &Record) -> Block {
    Block {
        entry: row.int(0),
        device: row.text(1).to_owned(),
        numbers: row.int(2),
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;
    use crate::scribe::{Answer, Condition, Deed, write_once};
    use crate::{Db, conformance, entry_id};

    conformance! {
        a_block_takes_its_numbers_after_its_own_and_each_is_used_once, check_block;
        a_block_that_does_not_fit_in_its_day_takes_nothing, check_full;
    }

    const DAY: i64 = 20_310_502;

    fn deed(request_id: &str) -> Deed {
        Deed {
            site: 1,
            day: DAY,
            request_id: request_id.to_owned(),
            rows: Vec::new(),
            ..crate::entries::tests::deed("codes", request_id)
        }
    }

    fn asks(request_id: &str, device: &str, numbers: i64) -> Deed {
        let asked = CodesAsked {
            site: 1,
            device: device.to_owned(),
            numbers,
        };
        Deed {
            rows: vec![row(&asked)],
            ..deed(request_id)
        }
    }

    fn uses(request_id: &str, day: i64, block: i64, place: i64) -> Deed {
        Deed {
            day,
            must_hold: vec![Condition::Spend {
                what: block,
                item: place,
                how: "lot_number",
            }],
            ..deed(request_id)
        }
    }

    async fn recorded(db: &Db, deed: Deed) -> i64 {
        match write_once(db, deed).await {
            Answer::Recorded(stamp) => stamp.entry,
            other => panic!("{other:?}"),
        }
    }

    fn day_of(day: i64) -> [Val<'static>; 2] {
        [
            Val::Int(entry_id(day, 1, 0)),
            Val::Int(entry_id(day, 1, 9_999_999)),
        ]
    }

    async fn check_block(db: Db) {
        let seq = |seq| entry_id(DAY, 1, seq);
        assert_eq!(recorded(&db, deed("a")).await, seq(1));
        assert_eq!(recorded(&db, asks("b", "tablet", 10)).await, seq(2));
        assert_eq!(recorded(&db, deed("c")).await, seq(13));
        assert_eq!(recorded(&db, asks("d", "phone", 1000)).await, seq(14));
        assert_eq!(recorded(&db, deed("e")).await, seq(1015));
        // A repeat takes no more.
        let again = write_once(&db, asks("b", "tablet", 10)).await;
        assert_eq!(again, Answer::Repeated { entry: seq(2) });
        assert_eq!(recorded(&db, deed("f")).await, seq(1016));

        let mut tx = db.read().await.unwrap();
        let of = |device: &str, entry, numbers| {
            let device = device.to_owned();
            Some(Block {
                entry,
                device,
                numbers,
            })
        };
        for (number, found) in [
            (seq(2), None),
            (seq(3), of("tablet", seq(2), 10)),
            (seq(14), of("tablet", seq(2), 10)),
            (seq(15), of("phone", seq(14), 1000)),
        ] {
            assert_eq!(before(&mut tx, 1, number).await.unwrap(), found, "{number}");
        }
        assert_eq!(before(&mut tx, 2, seq(15)).await.unwrap(), None);
        drop(tx);

        let next = DAY + 1;
        recorded(&db, uses("g", DAY, seq(2), 1)).await;
        recorded(&db, uses("h", next, seq(2), 10)).await;
        let twice = write_once(&db, uses("i", next, seq(2), 10)).await;
        assert!(matches!(twice, Answer::Unmet(_)), "{twice:?}");
        let mut tx = db.read().await.unwrap();
        let mut used = async |day| -> Vec<(i64, i64)> {
            let found = of_day(&mut tx, &day_of(day)).await.unwrap();
            found.iter().map(|of| (of.block.entry, of.used)).collect()
        };
        assert_eq!(used(DAY).await, [(seq(2), 1), (seq(14), 0)]);
        assert_eq!(used(next).await, [(seq(2), 1)]);
        assert_eq!(used(next + 1).await, []);
    }

    async fn check_full(db: Db) {
        recorded(&db, deed("a")).await;
        let mut tx = db.write().await.unwrap();
        let all_but_ten = [Val::Int(9_999_990), Val::Int(1), Val::Int(DAY)];
        let sql = "UPDATE head SET next = ? WHERE site = ? AND day = ?";
        tx.execute(sql, &all_but_ten).await.unwrap();
        tx.commit().await.unwrap();
        // Numbers 9,999,990 to 9,999,999 are left: an entry and nine of a block.
        let refused = write_once(&db, asks("b", "tablet", 10)).await;
        assert_eq!(refused, Answer::Full { left: 10 });
        let fits = recorded(&db, asks("c", "tablet", 9)).await;
        assert_eq!(fits, entry_id(DAY, 1, 9_999_990));
        let full = write_once(&db, deed("d")).await;
        assert_eq!(full, Answer::Full { left: 0 });
    }
}
