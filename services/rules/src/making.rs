//! Makings: new lots out of old ones, by cutting, dressing, pooling or freezing.
//!
//! The rows of a making always add up to what went in: each output, and a
//! residue. Within the allowance the residue is cutting loss (negative where
//! surface water came in); what lies beyond is unaccounted at the table. Where
//! an output left the table unweighed nothing can be judged, and the residue is
//! its. A customer's cut is yield only: no weight of this book moves.

use crate::decimal;
use crate::fish::{Grade, Presentation, Storage, coded};
use crate::ids::{MOST_LOTS, PartId};
use crate::office::Settings;
use crate::stock::{PartRef, add, sub};
use crate::tally::Tally;
use crate::ticket::Notice;
use crate::weight::{Reading, Weight};

coded! {
    /// What is done.
    MakingKind {
        /// At the own fillet table.
        Cut = 1 "cut",
        /// Gut, head or spines off.
        Dress = 2 "dress",
        /// Parts thrown into one bin.
        Pool = 3 "pool",
        /// Into the freezer.
        Freeze = 4 "freeze",
        /// At a customer's kitchen.
        CustomerCut = 5 "customer cut",
    }
}

coded! {
    /// What becomes of an output.
    Fate {
        /// A new lot with a code of its own.
        Lot = 1 "lot",
        /// Thrown out at the table.
        Discard = 2 "discard",
        /// Left the table without being weighed.
        NotWeighed = 3 "not_weighed",
    }
}

/// New lots from old ones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MakingAsked {
    /// Site number.
    pub site: i64,
    /// What is done.
    pub kind: MakingKind,
    /// What goes in.
    pub inputs: Vec<MakingInput>,
    /// What comes out.
    pub outputs: Vec<MakingOutput>,
    /// Code of the cut specification; empty where there is none.
    pub specification: String,
    /// Party that cut; empty where nobody did.
    pub cutter: String,
    /// Kitchen of a customer's cut; else empty.
    pub kitchen: String,
    /// Minutes at the table, decimal text; empty where nobody looked.
    pub minutes: String,
    /// Microseconds since 1970 UTC; absent is now.
    pub happened_us: Option<i64>,
    /// What was seen of the fish at the table, where somebody tallied.
    pub tally: Option<Tally>,
    /// Plan line it carries out, or empty.
    pub plan_line: String,
}

/// Weight going in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MakingInput {
    /// Where from.
    pub source: Source,
    /// Absent only for a pool: all that is left by the book.
    pub weight: Option<Reading>,
    /// Nothing is left: a count of 0 after it.
    pub emptied: bool,
}

/// Where a making takes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A part of this book.
    Part(PartRef),
    /// The movement that a customer cut from, by entry id.
    Dispatch(i64),
}

/// What comes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MakingOutput {
    /// Its form.
    pub presentation: Presentation,
    /// What becomes of it.
    pub fate: Fate,
    /// Absent when not weighed, or for a pool: the sum of what went in.
    pub weight: Option<Reading>,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// Of a discard.
    pub reason: String,
    /// Of a pool or frozen lot, or none.
    pub grade: Grade,
}

/// A making as recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Making {
    /// What was done.
    pub kind: MakingKind,
    /// Code of the cut specification.
    pub specification: String,
    /// Party that cut.
    pub cutter: String,
    /// Kitchen of a customer's cut.
    pub kitchen: String,
    /// Minutes, decimal text.
    pub minutes: String,
    /// In the order asked.
    pub inputs: Vec<MadeFrom>,
    /// In the order asked.
    pub outputs: Vec<Made>,
    /// Sum of the inputs.
    pub input: Weight,
    /// Fillet that came out, whatever became of it.
    pub fillet: Weight,
    /// Residue within the allowance; negative when water came in.
    pub cutting_loss: Weight,
    /// Residue beyond it; negative when more came out than can be water.
    pub table_unaccounted: Weight,
    /// Residue where an output was not weighed.
    pub not_weighed: Weight,
    /// Cautions and warnings for the people at the table; they never block.
    pub notices: Vec<Notice>,
}

/// Weight that went in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MadeFrom {
    /// Where from.
    pub source: MadeSource,
    /// How much.
    pub weight: Weight,
    /// A count of 0 after it.
    pub emptied: bool,
    /// Supplier of record; empty for several.
    pub supplier: String,
    /// ASFIS code of the species.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
}

/// Where a making took from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MadeSource {
    /// A part of this book.
    Part(PartId),
    /// The movement that a customer cut from, by entry id.
    Dispatch(i64),
}

/// What came out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// Its form.
    pub presentation: Presentation,
    /// What became of it.
    pub fate: Fate,
    /// Place of the new lot under the entry's number; the lot has one part, 1.
    pub place: Option<i64>,
    /// Absent when not weighed.
    pub weight: Option<Weight>,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// Of a discard.
    pub reason: String,
    /// Of a pool or frozen lot, or none.
    pub grade: Grade,
}

/// One row of where a making's weight went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MakingRow {
    /// `lot`, `discard`, `not_weighed`, `cutting_loss` or `table_unaccounted`.
    pub fate: &'static str,
    /// Place of the new lot, where it is one.
    pub place: Option<i64>,
    /// How much; only a residue may be negative.
    pub weight: Weight,
}

/// Why a making cannot stand as asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadMaking {
    /// Nothing goes in.
    #[error("takes nothing: name at least one input")]
    NoInput,
    /// Nothing comes out.
    #[error("gives nothing: name at least one output")]
    NoOutput,
    /// More new lots than codes.
    #[error("gives {0} lots; one making has codes for {MOST_LOTS}")]
    TooManyLots(usize),
    /// An input has the wrong source.
    #[error("input {n} must be {wanted} in a {kind}", kind = kind.word())]
    WrongSource {
        /// Position from 1.
        n: usize,
        /// What it must be.
        wanted: &'static str,
        /// The making.
        kind: MakingKind,
    },
    /// An input without a weight, outside a pool.
    #[error("input {0} has no weight; only a pool takes all that is left by the book")]
    InputNotWeighed(usize),
    /// The same part twice.
    #[error("input {0} names a part or dispatch that is named before")]
    InputTwice(usize),
    /// A cut says what is cut and by whom.
    #[error("a {kind} names a {missing}", kind = kind.word())]
    Missing {
        /// The making.
        kind: MakingKind,
        /// What is not named.
        missing: &'static str,
    },
    /// A word that does not belong.
    #[error("a {kind} has no {extra}", kind = kind.word())]
    Extra {
        /// The making.
        kind: MakingKind,
        /// What is named.
        extra: &'static str,
    },
    /// A pool is one bin.
    #[error("a pool gives exactly one lot")]
    PoolOutput,
    /// Every kind of fish in a pool is one species in one form.
    #[error("a pool is fish of one species in one presentation")]
    PoolMixes,
    /// An output without a weight that must have one.
    #[error("output {0} has no weight; say that it was not weighed, or weigh it")]
    OutputNotWeighed(usize),
    /// An output said to be not weighed, with a weight.
    #[error("output {0} has a weight and is said to be not weighed")]
    OutputWeighed(usize),
    /// A discard says why.
    #[error("output {0} is thrown out without a reason")]
    DiscardReason(usize),
    /// Minutes are a plain decimal.
    #[error("minutes {0}")]
    Minutes(decimal::BadDecimal),
    /// The sum does not fit.
    #[error("weighs more than can be kept")]
    TooHeavy,
}

/// Checks what can be checked without the book.
///
/// # Errors
/// [`BadMaking`] with the first thing wrong.
pub fn check(asked: &MakingAsked) -> Result<(), BadMaking> {
    let kind = asked.kind;
    let customer = kind == MakingKind::CustomerCut;
    let cut = customer || kind == MakingKind::Cut;
    if asked.inputs.is_empty() {
        return Err(BadMaking::NoInput);
    }
    if asked.outputs.is_empty() {
        return Err(BadMaking::NoOutput);
    }
    for (name, text, asked_for, taken) in [
        ("specification", &asked.specification, cut, true),
        (
            "cutter",
            &asked.cutter,
            kind == MakingKind::Cut,
            kind != MakingKind::Pool,
        ),
        ("kitchen", &asked.kitchen, customer, customer),
    ] {
        if asked_for && text.is_empty() {
            return Err(BadMaking::Missing {
                kind,
                missing: name,
            });
        }
        if !taken && !text.is_empty() {
            return Err(BadMaking::Extra { kind, extra: name });
        }
    }
    if !asked.minutes.is_empty() {
        decimal::scaled(&asked.minutes, 2).map_err(BadMaking::Minutes)?;
    }
    for (n, input) in (1..).zip(&asked.inputs) {
        match input.source {
            Source::Part(_) if customer => {
                return Err(BadMaking::WrongSource {
                    n,
                    wanted: "a dispatch",
                    kind,
                });
            }
            Source::Dispatch(_) if !customer => {
                return Err(BadMaking::WrongSource {
                    n,
                    wanted: "a part",
                    kind,
                });
            }
            _ => {}
        }
        if input.weight.is_none() && kind != MakingKind::Pool {
            return Err(BadMaking::InputNotWeighed(n));
        }
        let before = asked.inputs.get(..n.saturating_sub(1)).unwrap_or_default();
        if !customer && before.iter().any(|other| other.source == input.source) {
            return Err(BadMaking::InputTwice(n));
        }
    }
    check_outputs(kind, &asked.outputs)
}

fn check_outputs(kind: MakingKind, outputs: &[MakingOutput]) -> Result<(), BadMaking> {
    let lots = outputs
        .iter()
        .filter(|output| output.fate == Fate::Lot)
        .count();
    if i64::try_from(lots).is_ok_and(|lots| lots > MOST_LOTS) {
        return Err(BadMaking::TooManyLots(lots));
    }
    if kind == MakingKind::Pool && (outputs.len() != 1 || lots != 1) {
        return Err(BadMaking::PoolOutput);
    }
    for (n, output) in (1..).zip(outputs) {
        match (output.fate, &output.weight) {
            (Fate::NotWeighed, Some(_)) => return Err(BadMaking::OutputWeighed(n)),
            (Fate::Lot | Fate::Discard, None) if kind != MakingKind::Pool => {
                return Err(BadMaking::OutputNotWeighed(n));
            }
            (Fate::Discard, _) if output.reason.is_empty() => {
                return Err(BadMaking::DiscardReason(n));
            }
            _ => {}
        }
    }
    Ok(())
}

/// Works out a making. `inputs` are those asked, in the same order, looked up in
/// the book: each with its weight, and for a pool's unweighed part all that is
/// left by the book.
///
/// # Errors
/// [`BadMaking`], as [`check`], and a pool of several kinds of fish.
pub fn make(
    asked: &MakingAsked,
    inputs: Vec<MadeFrom>,
    settings: &Settings,
) -> Result<Making, BadMaking> {
    check(asked)?;
    if asked.kind == MakingKind::Pool {
        let alike =
            |a: &MadeFrom, b: &MadeFrom| a.species == b.species && a.presentation == b.presentation;
        if inputs
            .windows(2)
            .any(|pair| matches!(pair, [a, b] if !alike(a, b)))
        {
            return Err(BadMaking::PoolMixes);
        }
    }
    let input = total(inputs.iter().map(|from| from.weight))?;
    let outputs = outputs(asked, input);
    let weighed = total(outputs.iter().filter_map(|made| made.weight))?;
    let fillet = total(
        outputs
            .iter()
            .filter(|made| made.presentation.is_fillet())
            .filter_map(|made| made.weight),
    )?;
    let residue = sub(input, weighed);
    let judged = outputs.iter().all(|made| made.fate != Fate::NotWeighed);
    let (cutting_loss, table_unaccounted) = if judged {
        split(residue, input, settings)
    } else {
        (Weight::ZERO, Weight::ZERO)
    };
    Ok(Making {
        kind: asked.kind,
        specification: asked.specification.clone(),
        cutter: asked.cutter.clone(),
        kitchen: asked.kitchen.clone(),
        minutes: asked.minutes.clone(),
        inputs,
        outputs,
        input,
        fillet,
        cutting_loss,
        table_unaccounted,
        not_weighed: if judged { Weight::ZERO } else { residue },
        notices: Vec::new(),
    })
}

fn outputs(asked: &MakingAsked, input: Weight) -> Vec<Made> {
    let mut place = 0_i64;
    let mut made = Vec::with_capacity(asked.outputs.len());
    for output in &asked.outputs {
        let lot = output.fate == Fate::Lot;
        if lot {
            place = place.saturating_add(1);
        }
        let pool = asked.kind == MakingKind::Pool;
        made.push(Made {
            presentation: output.presentation,
            fate: output.fate,
            place: lot.then_some(place),
            weight: output
                .weight
                .as_ref()
                .map(|read| read.weight)
                .or(pool.then_some(input)),
            storage: output.storage,
            reason: output.reason.clone(),
            grade: output.grade.clone(),
        });
    }
    made
}

fn total(weights: impl Iterator<Item = Weight>) -> Result<Weight, BadMaking> {
    let mut sum = Weight::ZERO;
    for weight in weights {
        sum = sum.checked_add(weight).ok_or(BadMaking::TooHeavy)?;
    }
    Ok(sum)
}

/// Splits a residue into cutting loss and what is unaccounted at the table.
///
/// The allowance runs from the surface water to the cutting loss expected at
/// most, both ends in it; what is beyond is unaccounted, and the allowance stays
/// cutting loss.
fn split(residue: Weight, input: Weight, settings: &Settings) -> (Weight, Weight) {
    let most = input.millionths(settings.cutting_loss_ppm());
    let water = sub(Weight::ZERO, input.millionths(settings.water_ppm()));
    let loss = residue.min(most).max(water);
    (loss, sub(residue, loss))
}

impl Making {
    /// Whether a loss could be judged: everything was weighed.
    #[must_use]
    pub fn is_judged(&self) -> bool {
        self.outputs
            .iter()
            .all(|made| made.fate != Fate::NotWeighed)
    }

    /// Whether this moves weight of this book.
    #[must_use]
    pub fn moves_weight(&self) -> bool {
        self.kind != MakingKind::CustomerCut
    }

    /// Where the weight went; the rows add up to [`Making::input`]. Empty for a
    /// customer's cut. A residue of nothing has no row.
    #[must_use]
    pub fn rows(&self) -> Vec<MakingRow> {
        if !self.moves_weight() {
            return Vec::new();
        }
        let weighed = self.outputs.iter().filter_map(|made| {
            made.weight.map(|weight| MakingRow {
                fate: made.fate.word(),
                place: made.place,
                weight,
            })
        });
        let residue = [
            (Fate::NotWeighed.word(), self.not_weighed),
            ("cutting_loss", self.cutting_loss),
            ("table_unaccounted", self.table_unaccounted),
        ]
        .into_iter()
        .filter(|(_, weight)| !weight.is_zero())
        .map(|(fate, weight)| MakingRow {
            fate,
            place: None,
            weight,
        });
        weighed.chain(residue).collect()
    }

    /// What came out as a new lot, or thrown out, and is not fillet.
    #[must_use]
    pub fn other_lots(&self) -> Weight {
        self.outputs
            .iter()
            .filter(|made| made.fate == Fate::Lot && !made.presentation.is_fillet())
            .filter_map(|made| made.weight)
            .fold(Weight::ZERO, add)
    }

    /// What was thrown out at the table.
    #[must_use]
    pub fn discard(&self) -> Weight {
        self.outputs
            .iter()
            .filter(|made| made.fate == Fate::Discard)
            .filter_map(|made| made.weight)
            .fold(Weight::ZERO, add)
    }

    /// Supplier of all that went in; empty where there are several or it is not
    /// known.
    #[must_use]
    pub fn supplier(&self) -> &str {
        let Some(first) = self.inputs.first() else {
            return "";
        };
        let one = self
            .inputs
            .iter()
            .all(|from| from.supplier == first.supplier);
        if one { &first.supplier } else { "" }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::LotCode;
    use crate::weight::{ReadingSource, WeightUnit};

    fn lb(text: &str) -> Weight {
        match text.strip_prefix('-') {
            Some(rest) => sub(Weight::ZERO, lb(rest)),
            None => WeightUnit::Lb.weigh(text).unwrap_or_default(),
        }
    }

    fn read(text: &str) -> Option<Reading> {
        Reading::new(text, WeightUnit::Lb, "table", ReadingSource::Keyed).ok()
    }

    fn part(n: i64) -> PartId {
        let Some(lot) = LotCode::new(2_031_050_200_010_000_001, 1) else {
            panic!("a lot code")
        };
        PartId { lot, n }
    }

    fn input(n: i64, weight: Option<&str>) -> MakingInput {
        let PartId { lot, n } = part(n);
        let source = Source::Part(PartRef { lot, part: Some(n) });
        MakingInput {
            source,
            weight: weight.and_then(read),
            emptied: false,
        }
    }

    fn from(n: i64, weight: &str, supplier: &str) -> MadeFrom {
        MadeFrom {
            source: MadeSource::Part(part(n)),
            weight: lb(weight),
            emptied: false,
            supplier: supplier.to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
        }
    }

    fn output(presentation: Presentation, fate: Fate, weight: &str) -> MakingOutput {
        MakingOutput {
            presentation,
            fate,
            weight: read(weight),
            storage: None,
            reason: if fate == Fate::Discard {
                "spines".to_owned()
            } else {
                String::new()
            },
            grade: Grade::none(),
        }
    }

    fn cut(weight: &str, outputs: Vec<MakingOutput>) -> MakingAsked {
        MakingAsked {
            site: 1,
            kind: MakingKind::Cut,
            inputs: vec![input(1, Some(weight))],
            outputs,
            specification: "skinless".to_owned(),
            cutter: "cutter-one".to_owned(),
            kitchen: String::new(),
            minutes: "42.5".to_owned(),
            happened_us: None,
            tally: None,
            plan_line: String::new(),
        }
    }

    fn pool(outputs: Vec<MakingOutput>) -> MakingAsked {
        MakingAsked {
            kind: MakingKind::Pool,
            inputs: vec![input(1, None), input(2, None)],
            specification: String::new(),
            cutter: String::new(),
            ..cut("1", outputs)
        }
    }

    #[test]
    fn a_residue_is_cutting_loss_within_the_allowance_and_beyond_it_unaccounted() {
        let settings = Settings::default();
        for (fillet, loss, beyond) in [
            // 100 lb in; fillet and 60 lb of frames out.
            ("36", "4", "0"),         // exactly 4 %
            ("35.999", "4", "0.001"), // the allowance stays cutting loss
            ("30", "4", "6"),
            ("38", "2", "0"),
            ("40", "0", "0"),
            ("40.5", "-0.5", "0"),
            ("41", "-1", "0"), // exactly 1 % more out than in
            ("41.001", "-1", "-0.001"),
            ("45", "-1", "-4"),
        ] {
            let asked = cut(
                "100",
                vec![
                    output(Presentation::FilletSkinless, Fate::Lot, fillet),
                    output(Presentation::Frames, Fate::Discard, "60"),
                ],
            );
            let made = make(&asked, vec![from(1, "100", "ana")], &settings);
            let got = made
                .as_ref()
                .map(|made| (made.cutting_loss, made.table_unaccounted));
            assert_eq!(got, Ok((lb(loss), lb(beyond))), "{fillet}");
            let sum: Weight = made
                .iter()
                .flat_map(Making::rows)
                .map(|row| row.weight)
                .sum();
            assert_eq!(sum, lb("100"), "the rows add up to what went in: {fillet}");
        }
    }

    #[test]
    fn nothing_is_judged_where_an_output_was_not_weighed() {
        let asked = cut(
            "10",
            vec![
                output(Presentation::FilletSkinless, Fate::Lot, "3"),
                MakingOutput {
                    weight: None,
                    ..output(Presentation::Frames, Fate::NotWeighed, "")
                },
            ],
        );
        let made = make(&asked, vec![from(1, "10", "ana")], &Settings::default());
        let Ok(made) = made else { panic!("{made:?}") };
        assert!(!made.is_judged());
        assert_eq!(
            (made.cutting_loss, made.table_unaccounted),
            (Weight::ZERO, Weight::ZERO)
        );
        let rows: Vec<_> = made
            .rows()
            .iter()
            .map(|row| (row.fate, row.weight))
            .collect();
        assert_eq!(rows, [("lot", lb("3")), ("not_weighed", lb("7"))]);
    }

    #[test]
    fn a_butchers_test_adds_up_with_its_loss_line() {
        // 38 lb 12 oz: parts of 6-8, 4-4, 3-4, 2-8 and 22-0 and a loss in cutting
        // of 0-4 (a published butcher's test, read with its answers). The ounce is
        // rounded to 10 ng, but these are whole quarters of a pound.
        let asked = cut(
            "38.75",
            vec![
                output(Presentation::FilletSkinless, Fate::Lot, "6.5"),
                output(Presentation::FilletSkinless, Fate::Lot, "4.25"),
                output(Presentation::Trim, Fate::Lot, "3.25"),
                output(Presentation::Frames, Fate::Discard, "2.5"),
                output(Presentation::Other, Fate::Lot, "22"),
            ],
        );
        let made = make(&asked, vec![from(1, "38.75", "ana")], &Settings::default());
        let Ok(made) = made else { panic!("{made:?}") };
        assert_eq!(made.cutting_loss, lb("0.25"));
        assert_eq!(made.table_unaccounted, Weight::ZERO);
        assert_eq!(
            made.rows().iter().map(|row| row.weight).sum::<Weight>(),
            lb("38.75")
        );
        let places: Vec<_> = made.outputs.iter().map(|made| made.place).collect();
        assert_eq!(places, [Some(1), Some(2), Some(3), None, Some(4)]);
        assert_eq!(
            (made.other_lots(), made.discard()),
            (lb("25.25"), lb("2.5"))
        );
    }

    #[test]
    fn a_pool_holds_what_went_in() {
        let one = MakingOutput {
            weight: None,
            ..output(Presentation::Whole, Fate::Lot, "")
        };
        let asked = pool(vec![one]);
        let inputs = vec![from(1, "12.3", "ana"), from(2, "7.7", "ben")];
        let made = make(&asked, inputs, &Settings::default());
        let Ok(made) = made else { panic!("{made:?}") };
        assert_eq!(made.outputs[0].weight, Some(lb("20")));
        assert_eq!(
            (made.cutting_loss, made.table_unaccounted),
            (Weight::ZERO, Weight::ZERO)
        );
        assert_eq!(made.supplier(), "", "a pool blames no diver");
        let mut odd = from(2, "7.7", "ben");
        odd.species = "LCX".to_owned();
        let mixed = make(
            &asked,
            vec![from(1, "12.3", "ana"), odd],
            &Settings::default(),
        );
        assert_eq!(mixed, Err(BadMaking::PoolMixes));
    }

    #[test]
    fn a_customers_cut_moves_no_weight_here() {
        let asked = MakingAsked {
            kind: MakingKind::CustomerCut,
            inputs: vec![MakingInput {
                source: Source::Dispatch(2_031_050_200_010_000_007),
                ..input(1, Some("10"))
            }],
            cutter: String::new(),
            kitchen: "kitchen-one".to_owned(),
            ..cut(
                "10",
                vec![output(Presentation::FilletSkinless, Fate::Discard, "3.1")],
            )
        };
        let dispatch = MadeSource::Dispatch(2_031_050_200_010_000_007);
        let inputs = vec![MadeFrom {
            source: dispatch,
            ..from(1, "10", "ana")
        }];
        let made = make(&asked, inputs, &Settings::default());
        let Ok(made) = made else { panic!("{made:?}") };
        assert_eq!(made.fillet, lb("3.1"));
        assert_eq!(made.rows(), []);
    }

    #[test]
    fn a_making_that_cannot_stand_says_why() {
        use BadMaking as Bad;
        let fillet = || vec![output(Presentation::FilletSkinless, Fate::Lot, "3")];
        let good = || cut("10", fillet());
        let blank = String::new;
        assert_eq!(check(&good()), Ok(()));
        for (asked, outcome) in [
            (
                MakingAsked {
                    inputs: vec![],
                    ..good()
                },
                Bad::NoInput,
            ),
            (
                MakingAsked {
                    outputs: vec![],
                    ..good()
                },
                Bad::NoOutput,
            ),
            (
                MakingAsked {
                    specification: blank(),
                    ..good()
                },
                Bad::Missing {
                    kind: MakingKind::Cut,
                    missing: "specification",
                },
            ),
            (
                MakingAsked {
                    cutter: blank(),
                    ..good()
                },
                Bad::Missing {
                    kind: MakingKind::Cut,
                    missing: "cutter",
                },
            ),
            (
                MakingAsked {
                    kitchen: "k".to_owned(),
                    ..good()
                },
                Bad::Extra {
                    kind: MakingKind::Cut,
                    extra: "kitchen",
                },
            ),
            (
                MakingAsked {
                    minutes: "ten".to_owned(),
                    ..good()
                },
                Bad::Minutes(decimal::BadDecimal::NotANumber),
            ),
            (
                MakingAsked {
                    inputs: vec![input(1, None)],
                    ..good()
                },
                Bad::InputNotWeighed(1),
            ),
            (
                MakingAsked {
                    inputs: vec![input(1, Some("5")), input(1, Some("5"))],
                    ..good()
                },
                Bad::InputTwice(2),
            ),
            (
                MakingAsked {
                    inputs: vec![MakingInput {
                        source: Source::Dispatch(1),
                        ..input(1, Some("5"))
                    }],
                    ..good()
                },
                Bad::WrongSource {
                    n: 1,
                    wanted: "a part",
                    kind: MakingKind::Cut,
                },
            ),
            (
                MakingAsked {
                    kind: MakingKind::CustomerCut,
                    kitchen: "k".to_owned(),
                    ..good()
                },
                Bad::WrongSource {
                    n: 1,
                    wanted: "a dispatch",
                    kind: MakingKind::CustomerCut,
                },
            ),
            (
                cut(
                    "10",
                    vec![MakingOutput {
                        weight: None,
                        ..fillet().remove(0)
                    }],
                ),
                Bad::OutputNotWeighed(1),
            ),
            (
                cut(
                    "10",
                    vec![MakingOutput {
                        fate: Fate::NotWeighed,
                        ..fillet().remove(0)
                    }],
                ),
                Bad::OutputWeighed(1),
            ),
            (
                cut(
                    "10",
                    vec![MakingOutput {
                        fate: Fate::Discard,
                        ..fillet().remove(0)
                    }],
                ),
                Bad::DiscardReason(1),
            ),
            (pool([fillet(), fillet()].concat()), Bad::PoolOutput),
            (
                cut("10", vec![fillet().remove(0); 36]),
                Bad::TooManyLots(36),
            ),
        ] {
            assert_eq!(check(&asked), Err(outcome.clone()), "{outcome}");
        }
    }
}
