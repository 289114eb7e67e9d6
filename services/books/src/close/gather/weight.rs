//! The weight book, added up.

use std::collections::BTreeMap;

use rules::ids::DayNumber;
use rules::weight::Weight;

use super::entries_of;
use crate::close::kept::WeightKey;
use crate::db::{EngineError, Record, Tx};

/// First and last entry of the day, said once, and as the answer of a statement inside, so
/// that PostgreSQL plans without knowing them. It then keeps one plan instead of making one
/// a day, and reckons with half a percent of each table. Where it knows them it takes the
/// entries of a day, which lie close together in numbers far apart, for two or three.
const DAY: &str = "WITH day AS (SELECT CAST(? AS BIGINT) AS first, CAST(? AS BIGINT) AS last) ";

/// A day's sums. Each arm is added up by itself, since no two of them say the same from and
/// to, so that a row is as narrow as its key; each lot is looked up by its key; lines are
/// read once for fish and ice; and what no lot was made of is not looked up.
const BY_KEY: &str = "\
    SELECT 'landing', 'part', t.supplier, t.species, CAST(SUM(l.weight) AS BIGINT), \
           CAST(SUM(l.ice) AS BIGINT) \
      FROM line l JOIN lot t ON t.number = l.number AND t.place = l.place \
     WHERE l.ticket {of_day} \
       AND l.ticket NOT IN (SELECT what FROM spent WHERE what {of_day} \
                               AND item = 0 AND how IN ('void', 'rewrite')) \
     GROUP BY t.supplier, t.species \
    UNION ALL \
    SELECT 'outlet:' || m.outlet, 'part', t.supplier, t.species, \
           CAST(SUM(m.weight) AS BIGINT), 0 \
      FROM inward m JOIN lot t ON t.number = m.number AND t.place = m.place \
     WHERE m.entry {of_day} GROUP BY m.outlet, t.supplier, t.species \
    UNION ALL \
    SELECT 'part', 'outlet:' || m.outlet, t.supplier, t.species, \
           CAST(SUM(m.weight) AS BIGINT), 0 \
      FROM move m JOIN lot t ON t.number = m.number AND t.place = m.place \
     WHERE m.entry {of_day} GROUP BY m.outlet, t.supplier, t.species \
    UNION ALL \
    SELECT 'part', 'table', t.supplier, t.species, CAST(SUM(m.weight) AS BIGINT), 0 \
      FROM making_in m JOIN lot t ON t.number = m.number AND t.place = m.place \
     WHERE m.entry {of_day} GROUP BY t.supplier, t.species \
    UNION ALL \
    SELECT 'table', CASE m.fate WHEN 'lot' THEN 'part' ELSE m.fate END, \
           COALESCE(t.supplier, ''), COALESCE(t.species, ''), \
           CAST(SUM(m.weight) AS BIGINT), 0 \
      FROM making_out m \
      LEFT JOIN lot t ON t.number = NULLIF(m.number, 0) AND t.place = m.place \
     WHERE m.entry {of_day} \
     GROUP BY m.fate, COALESCE(t.supplier, ''), COALESCE(t.species, '')";

/// The same with all arms in one, and joined by hash to the lots that have their number
/// from the day; only of older fish a lot is looked up by its key. PostgreSQL takes six
/// tenths as long for it as for [`BY_KEY`]. SQLite has neither hash nor LATERAL; with all
/// arms in one and each lot looked up it takes a third longer.
const BY_HASH: &str = "\
    SELECT CASE arm WHEN 1 THEN 'landing' WHEN 2 THEN 'outlet:' || outlet \
                    WHEN 5 THEN 'table' ELSE 'part' END, \
           CASE arm WHEN 3 THEN 'outlet:' || outlet WHEN 4 THEN 'table' ELSE 'part' END, \
           supplier, species, CAST(SUM(weight) AS BIGINT), CAST(SUM(ice) AS BIGINT) \
      FROM (SELECT m.arm, m.outlet, m.weight, m.ice, \
                   COALESCE(t.supplier, older.supplier) AS supplier, \
                   COALESCE(t.species, older.species) AS species \
              FROM (SELECT 1 AS arm, 0 AS outlet, number, place, weight, ice FROM line \
                     WHERE ticket {of_day} \
                       AND ticket NOT IN (SELECT what FROM spent WHERE what {of_day} \
                                             AND item = 0 AND how IN ('void', 'rewrite')) \
                    UNION ALL \
                    SELECT 2, outlet, number, place, weight, 0 FROM inward \
                     WHERE entry {of_day} \
                    UNION ALL \
                    SELECT 3, outlet, number, place, weight, 0 FROM move \
                     WHERE entry {of_day} \
                    UNION ALL \
                    SELECT 4, 0, number, place, weight, 0 FROM making_in \
                     WHERE entry {of_day} \
                    UNION ALL \
                    SELECT 5, 0, number, place, weight, 0 FROM making_out \
                     WHERE entry {of_day} AND fate = 'lot') m \
              LEFT JOIN (SELECT number, place, supplier, species FROM lot \
                          WHERE number {of_day}) t \
                ON t.number = m.number AND t.place = m.place \
              LEFT JOIN LATERAL (SELECT number, supplier, species FROM lot \
                                  WHERE t.number IS NULL \
                                    AND number = m.number AND place = m.place LIMIT 1) older \
                ON TRUE \
             WHERE COALESCE(t.number, older.number) IS NOT NULL) moved \
     GROUP BY arm, outlet, supplier, species \
    UNION ALL \
    SELECT 'table', fate, '', '', CAST(SUM(weight) AS BIGINT), 0 FROM making_out \
     WHERE entry {of_day} AND fate <> 'lot' GROUP BY fate";

/// The weight book of a site's day, added up by one statement over the day's range of
/// entries: as the view `weight_book` has it, but that weight which only changed its part
/// is left out, and so is a ticket that was ended.
///
/// # Errors
/// Engine trouble.
pub async fn weight_of_day(
    tx: &mut Tx,
    site: i64,
    day: DayNumber,
) -> Result<BTreeMap<WeightKey, Weight>, EngineError> {
    let of_day = "BETWEEN (SELECT first FROM day) AND (SELECT last FROM day)";
    let [by_key, by_hash] =
        [BY_KEY, BY_HASH].map(|sums| [DAY, &sums.replace("{of_day}", of_day)].concat());
    let mut weights = BTreeMap::new();
    let rows = tx
        .fetch_by_engine(&by_key, &by_hash, &entries_of(day, site))
        .await?;
    for row in rows {
        let (key, sum) = weight(&row, 0);
        let ice = Weight::from_units(row.int(5));
        if ice != Weight::ZERO {
            let to_place = "ice".to_owned();
            weights.insert(
                WeightKey {
                    to_place,
                    ..key.clone()
                },
                ice,
            );
        }
        weights.insert(key, sum);
    }
    Ok(weights)
}

/// The weight books of all sites and days, added up by one bare statement over all of
/// it: what the days one by one are held against. The first number is that of site and
/// day, `YYYYMMDD SSSS`.
///
/// # Errors
/// Engine trouble.
pub async fn weight_of_book(
    tx: &mut Tx,
) -> Result<BTreeMap<(i64, WeightKey), Weight>, EngineError> {
    // A line of a ticket that was ended otherwise than by a settlement counts for nothing.
    let stands = "NOT EXISTS (SELECT 1 FROM spent s WHERE s.what = l.ticket AND s.item = 0 \
                              AND s.how IN ('void', 'rewrite'))";
    let sql = format!(
        "SELECT entry / 10000000, from_place, to_place, supplier, species, \
                CAST(SUM(weight) AS BIGINT) \
         FROM (SELECT l.ticket AS entry, 'landing' AS from_place, 'part' AS to_place, \
                      t.supplier AS supplier, t.species AS species, l.weight AS weight \
                 FROM line l JOIN lot t ON t.number = l.number AND t.place = l.place \
                WHERE {stands} \
               UNION ALL \
               SELECT l.ticket, 'landing', 'ice', t.supplier, t.species, l.ice \
                 FROM line l JOIN lot t ON t.number = l.number AND t.place = l.place \
                WHERE l.ice <> 0 AND {stands} \
               UNION ALL \
               SELECT m.entry, 'outlet:' || m.outlet, 'part', t.supplier, t.species, m.weight \
                 FROM inward m JOIN lot t ON t.number = m.number AND t.place = m.place \
               UNION ALL \
               SELECT m.entry, 'part', 'outlet:' || m.outlet, t.supplier, t.species, m.weight \
                 FROM move m JOIN lot t ON t.number = m.number AND t.place = m.place \
               UNION ALL \
               SELECT m.entry, 'part', 'table', t.supplier, t.species, m.weight \
                 FROM making_in m JOIN lot t ON t.number = m.number AND t.place = m.place \
               UNION ALL \
               SELECT m.entry, 'table', CASE m.fate WHEN 'lot' THEN 'part' ELSE m.fate END, \
                      COALESCE(t.supplier, ''), COALESCE(t.species, ''), m.weight \
                 FROM making_out m LEFT JOIN lot t ON t.number = m.number AND t.place = m.place) \
              AS book \
         GROUP BY entry / 10000000, from_place, to_place, supplier, species"
    );
    let rows = tx.fetch(&sql, &[]).await?;
    let of = |row: &Record| {
        let (key, weight) = weight(row, 1);
        ((row.int(0), key), weight)
    };
    Ok(rows.iter().map(of).collect())
}

fn weight(row: &Record, at: usize) -> (WeightKey, Weight) {
    let text = |i: usize| row.text(at + i).to_owned();
    let key = WeightKey {
        from_place: text(0),
        to_place: text(1),
        supplier: text(2),
        species: text(3),
    };
    (key, Weight::from_units(row.int(at + 4)))
}
