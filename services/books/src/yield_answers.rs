//! Divers' answers to the yields that are told of their fish.
//!
//! An answer is an entry, with a row of its own to be found by. None takes the place of
//! another: those that were given again stand one after the other.

use rules::ids::DayNumber;
use rules::yield_answer::{YieldAnswerAsked, YieldAnswered};

use crate::db::{Tx, Val};
use crate::entries::{self, Entry};
use crate::table::{Cell, YIELD_ANSWER};
use crate::{BooksError, Row, doc_struct};

doc_struct! {
    YieldAnswerAsked { site, supplier, species, from, to, text }
    YieldAnswered { told }
}

/// The row of an answer beside its entry.
#[must_use]
pub fn row(asked: &YieldAnswerAsked) -> Row {
    Row::new(
        &YIELD_ANSWER,
        [
            Cell::Own,
            asked.site.into(),
            asked.supplier.as_str().into(),
            asked.species.as_str().into(),
            asked.from.into(),
            asked.to.into(),
        ],
    )
}

/// Answers that speak of any business day in `[from, to)` at a site, oldest first; of one
/// supplier or species, or of all where they are empty.
///
/// # Errors
/// Engine trouble, or an entry that does not read.
pub async fn of_days(
    tx: &mut Tx,
    site: i64,
    from: DayNumber,
    to: DayNumber,
    supplier: &str,
    species: &str,
) -> Result<Vec<Entry>, BooksError> {
    let sql = "SELECT entry FROM yield_answer \
               WHERE site = ? AND (supplier = ? OR ? = '') AND (species = ? OR ? = '') \
                 AND first_day < ? AND end_day > ? ORDER BY entry";
    let (supplier, species) = (Val::from(supplier), Val::from(species));
    let binds = [
        Val::Int(site),
        supplier,
        supplier,
        species,
        species,
        Val::Int(to),
        Val::Int(from),
    ];
    let mut answers = Vec::new();
    for row in tx.fetch(sql, &binds).await? {
        answers.extend(entries::get(tx, row.int(0)).await?);
    }
    Ok(answers)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use rules::close::YieldRow;
    use rules::fish::Presentation;
    use rules::weight::Weight;

    use super::*;
    use crate::conformance;
    use crate::db::Db;
    use crate::doc::entry_doc;
    use crate::doc::tests::{TEXT, reads_back};
    use crate::entries::tests::{FRIDAY, SATURDAY, SITE, SUNDAY, deed, write};
    use crate::scribe::Deed;

    conformance! {
        an_answer_is_found_by_any_of_its_days_and_none_replaces_another, check_answers;
    }

    fn answer(text: &str) -> YieldAnswerAsked {
        YieldAnswerAsked {
            site: SITE,
            supplier: "ana".to_owned(),
            species: "PZO".to_owned(),
            from: FRIDAY,
            to: SUNDAY,
            text: text.to_owned(),
        }
    }

    fn told() -> YieldAnswered {
        YieldAnswered {
            told: vec![YieldRow {
                supplier: "ana".to_owned(),
                species: "PZO".to_owned(),
                presentation: Presentation::Whole,
                specification: "skinless".to_owned(),
                customer_kitchen: false,
                cuts: 2,
                input: Weight::from_units(4_000_000),
                fillet: Weight::from_units(1_000_000),
                yield_e2: Some(2_500),
                mixed_cuts: 1,
                mixed_input: Weight::from_units(3),
            }],
        }
    }

    #[test]
    fn an_answer_reads_back() {
        reads_back(&answer(TEXT));
        reads_back(&told());
        reads_back(&YieldAnswered { told: Vec::new() });
    }

    async fn check_answers(db: Db) {
        let given = async |request_id: &str, asked: YieldAnswerAsked| {
            let entry = Deed {
                rows: vec![row(&asked)],
                doc: entry_doc(&asked, &told()),
                ..deed("answer_yield", request_id)
            };
            write(&db, entry).await
        };
        let first = given("a", answer("torn by a shark")).await;
        let again = given("b", answer("and cut late")).await;
        let others = YieldAnswerAsked {
            supplier: "ben".to_owned(),
            species: "LCX".to_owned(),
            ..answer("mine")
        };
        let others = given("c", others).await;
        let elsewhere = YieldAnswerAsked {
            site: 2,
            ..answer("another dock")
        };
        given("d", elsewhere).await;

        let mut tx = db.read().await.unwrap();
        let mut found = async |from, to, supplier, species| {
            let all = of_days(&mut tx, SITE, from, to, supplier, species).await;
            let all = all.unwrap();
            all.iter().map(|e| e.id.number()).collect::<Vec<_>>()
        };
        let monday = SUNDAY + 1;
        // from      to        supplier  species  found
        for (from, to, supplier, species, found_ones) in [
            (FRIDAY, SUNDAY, "", "", vec![first, again, others]),
            (FRIDAY, SUNDAY, "ana", "", vec![first, again]),
            (FRIDAY, SUNDAY, "", "LCX", vec![others]),
            (FRIDAY, SUNDAY, "ana", "LCX", vec![]),
            // One day of it is enough.
            (FRIDAY - 1, FRIDAY, "ana", "", vec![]),
            (FRIDAY - 1, SATURDAY, "ana", "", vec![first, again]),
            (SATURDAY, monday, "ana", "", vec![first, again]),
            (SUNDAY, monday, "ana", "", vec![]),
        ] {
            let all = found(from, to, supplier, species).await;
            assert_eq!(all, found_ones, "{from} {to} {supplier} {species}");
        }
        let all = of_days(&mut tx, SITE, FRIDAY, SUNDAY, "ana", "PZO").await;
        let read = all.unwrap()[1].read::<YieldAnswerAsked, YieldAnswered>();
        assert_eq!(read.unwrap(), (answer("and cut late"), told()));
    }
}
