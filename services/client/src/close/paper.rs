//! A close of the contract as plain data for paper.
//!
//! Names come from what is on file. Nothing is worked out: where a close has no judged
//! yields, its plain ones are drawn, without intervals.

use std::cell::Cell;

use papers::close as paper;
use papers::{Money, Percent, Weight};
use proto::v1;

use super::{proposed_to, reason};
use crate::known::Known;
use crate::show::{self, word};
use crate::trouble::Trouble;
use crate::{flags, see_to, yields};

/// The close for paper.
///
/// # Errors
/// Figures that are no plain decimals, or are of several units or currencies.
pub(super) fn close(
    close: &v1::Close,
    sha256: &str,
    known: &Known,
) -> Result<paper::Close, Trouble> {
    let read = Read {
        known,
        unit: Cell::default(),
        currency: Cell::default(),
    };
    let balance = close.balance.as_ref().map(|of| read.balance(of));
    let all = paper::Close {
        site: known.site(close.site),
        day: show::day(close.day.as_ref()),
        state: word!(CloseState, close.state),
        revision: close.revision,
        recorded_at: known.instant(close.site, close.recorded_at.as_ref()),
        clock_note: known.clock_note(),
        sha256: sha256.to_owned(),
        balance: balance.transpose()?,
        parts: each(&close.parts, |of| read.part(of))?,
        cuts: each(&close.cuts, |of| read.cut(of))?,
        yields: each(&close.yields, |of| read.plain_yield(of))?,
        supplier_yields: each(&close.yields, |of| read.undecided_yield(of))?,
        undersize: each(&close.undersize, |of| read.undersize(of))?,
        payouts: each(&close.payouts, |of| read.pay(of))?,
        flags: each(&close.flags, |of| read.flag(of))?,
        remarks: close.remarks.clone(),
        ..paper::Close::default()
    };
    let unit = read.unit.get();
    Ok(paper::Close {
        unit: unit.map_or_else(String::new, |unit| word!(WeightUnit, unit)),
        currency: read.currency.take().unwrap_or_default(),
        ..all
    })
}

/// All rows, or what is wrong with the first that cannot be read.
fn each<Of, Is>(of: &[Of], read: impl Fn(&Of) -> Result<Is, Trouble>) -> Result<Vec<Is>, Trouble> {
    of.iter().map(read).collect()
}

/// Reads the rows of a close, which have one unit and one currency.
struct Read<'a> {
    known: &'a Known,
    unit: Cell<Option<i32>>,
    currency: Cell<Option<String>>,
}

impl Read<'_> {
    /// A weight; one that is not there is zero.
    fn weight(&self, of: Option<&v1::Weight>) -> Result<Weight, Trouble> {
        Ok(self.weight_if_any(of)?.unwrap_or_default())
    }

    fn weight_if_any(&self, of: Option<&v1::Weight>) -> Result<Option<Weight>, Trouble> {
        let Some(of) = of else { return Ok(None) };
        let unit = self.unit.get().unwrap_or(of.unit);
        self.unit.set(Some(unit));
        if unit != of.unit {
            return Err(Trouble::Unreadable(
                "the close's weights are of several units",
            ));
        }
        let weight = Weight::read(&of.shown);
        weight.map(Some).ok_or(Trouble::Unreadable(
            "a weight of the close is no plain decimal",
        ))
    }

    /// An amount; one that is not there is zero.
    fn money(&self, of: Option<&v1::Money>) -> Result<Money, Trouble> {
        Ok(self.money_if_any(of)?.unwrap_or_default())
    }

    fn money_if_any(&self, of: Option<&v1::Money>) -> Result<Option<Money>, Trouble> {
        let Some(of) = of else { return Ok(None) };
        let currency = self.currency.take().unwrap_or_else(|| of.currency.clone());
        let is_other = currency != of.currency;
        self.currency.set(Some(currency));
        if is_other {
            return Err(Trouble::Unreadable(
                "the close's amounts are of several currencies",
            ));
        }
        Ok(Some(Money {
            hundredths: of.amount_minor,
        }))
    }

    fn balance(&self, of: &v1::DayBalance) -> Result<paper::Balance, Trouble> {
        let out = each(&of.out, |out| {
            Ok(paper::Out {
                outlet: show::outlet(out.outlet),
                weight: self.weight(out.weight.as_ref())?,
                is_loss: out.outlet == i32::from(v1::Outlet::Discard),
            })
        });
        Ok(paper::Balance {
            opening: self.weight(of.opening.as_ref())?,
            bought: self.weight(of.bought.as_ref())?,
            returned: self.weight(of.returned.as_ref())?,
            made: self.weight(of.made.as_ref())?,
            used: self.weight(of.used.as_ref())?,
            out: out?,
            shrink: self.weight(of.shrink.as_ref())?,
            unaccounted: self.weight(of.unaccounted.as_ref())?,
            closing: self.weight(of.closing.as_ref())?,
            thrown_out_at_table: self.weight(of.thrown_out_at_table.as_ref())?,
            cutting_loss: self.weight(of.cutting_loss.as_ref())?,
            table_unaccounted: self.weight(of.table_unaccounted.as_ref())?,
        })
    }

    fn part(&self, of: &v1::PartBalance) -> Result<paper::Part, Trouble> {
        Ok(paper::Part {
            part: show::part(of.part.as_ref()),
            fish: show::fish(&self.known.species(&of.species), of.presentation),
            supplier: of.supplier.clone(),
            opening: self.weight(of.opening.as_ref())?,
            taken_in: self.weight(of.r#in.as_ref())?,
            out: self.weight(of.out.as_ref())?,
            shrink: self.weight(of.shrink.as_ref())?,
            unaccounted: self.weight(of.unaccounted.as_ref())?,
            explained: None,
            closing: self.weight(of.closing.as_ref())?,
            count: super::count(of).to_owned(),
        })
    }

    fn cut(&self, of: &v1::CutBalance) -> Result<paper::Cut, Trouble> {
        Ok(paper::Cut {
            entry: of.entry_id.clone(),
            cutter: self.known.party(&of.cutter),
            input: self.weight(of.input.as_ref())?,
            fillet: self.weight(of.fillet.as_ref())?,
            other_lots: self.weight(of.other_lots.as_ref())?,
            discard: self.weight(of.discard.as_ref())?,
            cutting_loss: self.weight(of.cutting_loss.as_ref())?,
            beyond: self.weight(of.table_unaccounted.as_ref())?,
            outputs: super::outputs(of).to_owned(),
        })
    }

    fn plain_yield(&self, of: &v1::YieldRow) -> Result<paper::PlainYield, Trouble> {
        Ok(paper::PlainYield {
            supplier: self.known.party(&of.supplier),
            fish: show::fish(&self.known.species(&of.species), of.presentation),
            cut_to: yields::cut_to(of),
            cuts: of.cuts,
            input: self.weight(of.input.as_ref())?,
            fillet: self.weight(of.fillet.as_ref())?,
            of_input: percent(&of.yield_percent)?,
            mixed_cuts: of.mixed_cuts,
            mixed_input: self.weight(of.mixed_input.as_ref())?,
        })
    }

    /// A plain yield as one that nothing is said of.
    fn undecided_yield(&self, of: &v1::YieldRow) -> Result<paper::SupplierYield, Trouble> {
        let of = self.plain_yield(of)?;
        Ok(paper::SupplierYield {
            group: format!("{} to {}", of.fish, of.cut_to),
            supplier: of.supplier,
            cuts: of.cuts,
            input: of.input,
            of_input: of.of_input,
            ..paper::SupplierYield::default()
        })
    }

    fn undersize(&self, of: &v1::UndersizeRow) -> Result<paper::Undersize, Trouble> {
        Ok(paper::Undersize {
            part: show::part(of.part.as_ref()),
            fish: self.known.species(&of.species),
            supplier: of.supplier.clone(),
            taken_in: self.weight(of.taken_in.as_ref())?,
            proposed_to: proposed_to(of),
            proposed_reason: reason(of).to_owned(),
            went_to: show::outlets(&of.out),
            made: self.weight(of.made_into_lots.as_ref())?,
            left: self.weight(of.left.as_ref())?,
        })
    }

    fn pay(&self, of: &v1::PayRow) -> Result<paper::Pay, Trouble> {
        Ok(paper::Pay {
            party: self.known.party(&of.party),
            owed_today: self.money(of.owed_today.as_ref())?,
            owed: self.money(of.owed.as_ref())?,
            held: self.money(of.held.as_ref())?,
        })
    }

    fn flag(&self, of: &v1::Flag) -> Result<paper::Flag, Trouble> {
        Ok(paper::Flag {
            key: of.key.chars().take(see_to::SHOWN).collect(),
            day: show::day(of.day.as_ref()),
            kind: of.kind.clone(),
            is_gap: of.gap,
            about: flags::about(of, self.known),
            weight: self.weight_if_any(of.weight.as_ref())?,
            value: self.money_if_any(of.value.as_ref())?,
            standing: flags::standing(of, self.known),
            text: of.text.clone(),
            evidence: Vec::new(),
            next_step: String::new(),
        })
    }
}

/// A yield; nothing where there is none.
fn percent(of: &str) -> Result<Option<Percent>, Trouble> {
    if of.is_empty() {
        return Ok(None);
    }
    Percent::read(of).map(Some).ok_or(Trouble::Unreadable(
        "a yield of the close is no plain decimal",
    ))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::ticket::tests::{lb, usd};

    fn part(closing: Option<v1::Weight>) -> v1::PartBalance {
        v1::PartBalance {
            closing,
            ..v1::PartBalance::default()
        }
    }

    fn read(close: &v1::Close) -> Result<paper::Close, Trouble> {
        super::close(close, "ab", &Known::default())
    }

    #[test]
    fn figures_are_the_closes_own() {
        let close = read(&v1::Close {
            balance: Some(v1::DayBalance {
                opening: lb("41.60"),
                unaccounted: lb("-3.017"),
                out: vec![v1::OutletWeight {
                    outlet: v1::Outlet::Discard.into(),
                    weight: lb("2.00"),
                }],
                ..v1::DayBalance::default()
            }),
            yields: vec![v1::YieldRow {
                yield_percent: "26.51".to_owned(),
                ..v1::YieldRow::default()
            }],
            payouts: vec![v1::PayRow {
                owed: usd(-5),
                ..v1::PayRow::default()
            }],
            ..v1::Close::default()
        });
        let close = close.unwrap();
        let balance = close.balance.unwrap();
        assert_eq!(balance.opening.to_string(), "41.60");
        assert_eq!(balance.unaccounted.to_string(), "-3.017");
        assert_eq!(
            balance.closing,
            Weight::default(),
            "what is not there is zero"
        );
        assert!(balance.out[0].is_loss);
        assert_eq!(close.supplier_yields[0].of_input, Percent::read("26.51"));
        assert_eq!(close.payouts[0].owed.to_string(), "-0.05");
        assert_eq!(
            (close.unit.as_str(), close.currency.as_str()),
            ("lb", "USD")
        );
    }

    #[test]
    fn figures_of_two_units_are_not_drawn_on_one_scale() {
        let kg = lb("1.00").map(|weight| v1::Weight {
            unit: v1::WeightUnit::Kg.into(),
            ..weight
        });
        let parts = vec![part(lb("1.00")), part(None), part(kg)];
        let refused = read(&v1::Close {
            parts,
            ..v1::Close::default()
        });
        assert!(refused.unwrap_err().to_string().contains("several units"));
        let refused = read(&v1::Close {
            parts: vec![part(lb("a lot"))],
            ..v1::Close::default()
        });
        assert!(
            refused
                .unwrap_err()
                .to_string()
                .contains("no plain decimal")
        );
    }
}
