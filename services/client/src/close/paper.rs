//! A close of the contract as plain data for paper.
//!
//! Names come from what is on file. Nothing is worked out; a point of a control chart is
//! held against its limit.

use std::cell::Cell;

use papers::close as paper;
use papers::{Money, Percent, Sigma, Weight};
use proto::v1;

use super::{at_table, proposed_to, reason};
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
        price_unit: Cell::default(),
    };
    let groups = &close.supplier_yields;
    let suppliers = groups.iter().flat_map(|group| {
        let own = group.suppliers.iter();
        own.map(|of| read.supplier_yield(group, of))
    });
    let control = close.charts.iter().map(|of| read.control(of));
    let control: Vec<Vec<paper::Control>> = control.collect::<Result<_, _>>()?;
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
        supplier_yields: suppliers.collect::<Result<_, _>>()?,
        groups: each(groups, |of| read.group(of, close))?,
        small_fish: each(&close.small_fish, |of| read.small_fish(of))?,
        causes: each(&close.loss_causes, |of| read.cause(of))?,
        losses: each(&close.losses, |of| read.loss(of))?,
        control: control.concat(),
        drifts: each(&close.drifts, drift)?,
        undersize: each(&close.undersize, |of| read.undersize(of))?,
        lines_done: each(&close.plan_lines_done, |of| read.line_done(of))?,
        left: read.left(close.left_plan.as_ref())?,
        payouts: each(&close.payouts, |of| read.pay(of))?,
        flags: each(&close.flags, |of| read.flag(of))?,
        remarks: close.remarks.clone(),
        ..paper::Close::default()
    };
    let unit = read.unit.get();
    Ok(paper::Close {
        unit: unit.map_or_else(String::new, |unit| word!(WeightUnit, unit)),
        currency: read.currency.take().unwrap_or_default(),
        price_unit: read.price_unit.take().unwrap_or_default(),
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
    price_unit: Cell<Option<String>>,
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

    /// The figure of a price, which says its own unit; empty where there is none.
    fn price(&self, of: Option<&v1::UnitPrice>) -> Result<String, Trouble> {
        let shown = show::price(of);
        let Some((figure, unit)) = shown.split_once(' ') else {
            return Ok(String::new());
        };
        let first = self.price_unit.take().unwrap_or_else(|| unit.to_owned());
        let is_other = first != unit;
        self.price_unit.set(Some(first));
        if is_other {
            return Err(Trouble::Unreadable(
                "the close's prices are of several units",
            ));
        }
        Ok(figure.to_owned())
    }

    fn balance(&self, of: &v1::DayBalance) -> Result<paper::Balance, Trouble> {
        let out = each(&of.out, |out| {
            Ok(paper::Out {
                outlet: show::outlet(out.outlet),
                weight: self.weight(out.weight.as_ref())?,
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
            explained: self.weight_if_any(of.explained.as_ref())?,
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

    fn supplier_yield(
        &self,
        group: &v1::YieldGroup,
        of: &v1::SupplierYield,
    ) -> Result<paper::SupplierYield, Trouble> {
        let points = |text: &str| Ok::<_, Trouble>(percent(text)?.unwrap_or_default());
        let difference = match percent(&of.difference_points)? {
            None => None,
            Some(all) => Some(paper::Difference {
                all,
                band: points(&of.band_points)?,
                condition: points(&of.condition_points)?,
                cutter: points(&of.cutter_points)?,
                kitchen: points(&of.kitchen_points)?,
                rest: points(&of.rest_points)?,
                fits: points(&of.fits_points)?,
            }),
        };
        Ok(paper::SupplierYield {
            group: at_table::like_fish(group, self.known),
            supplier: self.known.party(&of.supplier),
            cuts: of.cuts,
            days: Some(of.days),
            input: self.weight(of.input.as_ref())?,
            of_input: percent(&of.yield_percent)?,
            limits: ends(&of.interval_percent)?,
            shrunk: percent(&of.shrunk_percent)?,
            reference: percent(&group.reference_percent)?,
            reference_source: group.reference_source.clone(),
            like_for_like: percent(&of.rest_points)?,
            like_for_like_limits: ends(&of.rest_interval_points)?,
            difference,
            sentence: of.says.clone(),
        })
    }

    fn group(&self, of: &v1::YieldGroup, close: &v1::Close) -> Result<paper::Group, Trouble> {
        let cost = at_table::cost_of(of, close);
        Ok(paper::Group {
            group: at_table::like_fish(of, self.known),
            cuts: of.cuts,
            input: self.weight(of.input.as_ref())?,
            of_input: percent(&of.yield_percent)?,
            limits: ends(&of.interval_percent)?,
            reference: percent(&of.reference_percent)?,
            reference_source: of.reference_source.clone(),
            fillet_today: self.weight(cost.and_then(|of| of.fillet.as_ref()))?,
            cost_of_edible: self.price(cost.and_then(|of| of.cost.as_ref()))?,
            portions: cost.and_then(|of| of.portions),
            cost_of_plate: self.money_if_any(cost.and_then(|of| of.cost_of_plate.as_ref()))?,
        })
    }

    fn small_fish(&self, of: &v1::CutBesideSoup) -> Result<paper::SmallFish, Trouble> {
        let fish = show::fish(&self.known.species(&of.species), of.presentation);
        Ok(paper::SmallFish {
            fish: format!("{fish} to {}", of.specification),
            band: of.band.clone(),
            cuts: of.cuts,
            of_input: percent(&of.yield_percent)?,
            minutes_per_fish: of.minutes_per_fish.clone(),
            cut: self.price(of.cut.as_ref())?,
            soup: self.price(of.soup.as_ref())?,
            within: self.price(of.within.as_ref())?,
            answer: at_table::answer(of.answer).to_owned(),
            break_even: self.weight_if_any(of.break_even.as_ref())?,
            break_even_from: self.weight_if_any(of.break_even_from.as_ref())?,
            break_even_to: self.weight_if_any(of.break_even_to.as_ref())?,
        })
    }

    fn cause(&self, of: &v1::LossCause) -> Result<paper::Cause, Trouble> {
        Ok(paper::Cause {
            cause: of.cause.clone(),
            weight: self.weight(of.weight.as_ref())?,
            value: self.money(of.value.as_ref())?,
        })
    }

    fn loss(&self, of: &v1::YieldLoss) -> Result<paper::Loss, Trouble> {
        let at = if of.customer_kitchen {
            "what the kitchen paid"
        } else {
            "what was paid at the dock"
        };
        Ok(paper::Loss {
            by: word!(LossBy, of.by),
            of: at_table::lost_by(of, self.known),
            at: at.to_owned(),
            input: self.weight(of.input.as_ref())?,
            missing_fillet: self.weight(of.missing_fillet.as_ref())?,
            material: self.money_if_any(of.material.as_ref())?,
            margin: self.money_if_any(of.margin.as_ref())?,
        })
    }

    /// The three charts of a subject; one without points where there is no chart yet.
    fn control(&self, of: &v1::ControlChart) -> Result<Vec<paper::Control>, Trouble> {
        let charts = [
            ("single cuts", &of.single_limit, Charted::Value),
            ("weighted mean", &of.ewma_limit, Charted::Mean),
            ("cumulated sums", &of.cusum_limit, Charted::Sums),
        ];
        let charts = charts.map(|(method, limit, charted)| {
            let limit = sigma(limit)?;
            let points = each(&of.points, |point| charted.point(point, limit))?;
            Ok(paper::Control {
                subject: format!(
                    "{} {}",
                    word!(Follows, of.follows),
                    self.known.party(&of.party)
                ),
                method: method.to_owned(),
                baseline: show::half_open(of.baseline_from.as_ref(), of.baseline_to.as_ref()),
                centre: Sigma::default(),
                lower: limit.map(|limit| Sigma {
                    hundredths: limit.hundredths.saturating_neg(),
                }),
                upper: limit,
                points,
                sentence: of.says.clone(),
            })
        });
        charts.into_iter().collect()
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

    fn line_done(&self, of: &v1::PlanLineDone) -> Result<paper::LineDone, Trouble> {
        Ok(paper::LineDone {
            line: of.plan_line.clone(),
            part: show::part(of.part.as_ref()),
            room: of.room.clone(),
            planned: self.weight(of.planned.as_ref())?,
            went: self.weight(of.delivered.as_ref())?,
            difference: self.weight(of.difference.as_ref())?,
            by: of.entry_id.clone(),
        })
    }

    /// What has a place, then what has none.
    fn left(&self, plan: Option<&v1::LeftPlan>) -> Result<Vec<paper::LeftLine>, Trouble> {
        let Some(plan) = plan else {
            return Ok(Vec::new());
        };
        let mut rows = each(&plan.lines, |of| {
            Ok(paper::LeftLine {
                part: show::part(of.part.as_ref()),
                room: of.room.clone(),
                on_ice: self.weight(of.weight.as_ref())?,
                handed_over: Some(self.weight(of.delivered.as_ref())?),
                first: word!(Presentation, of.dress_to),
                brings: Some(self.money(of.net.as_ref())?),
                why: String::new(),
            })
        })?;
        rows.extend(each(&plan.left, |of| {
            Ok(paper::LeftLine {
                part: show::part(of.part.as_ref()),
                room: "no place".to_owned(),
                on_ice: self.weight(of.weight.as_ref())?,
                why: of.why.clone(),
                ..paper::LeftLine::default()
            })
        })?);
        Ok(rows)
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
            evidence: of.evidence.clone(),
            next_step: of.next_step.clone(),
        })
    }
}

/// Which series of a subject is charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Charted {
    Value,
    Mean,
    Sums,
}

impl Charted {
    /// A point, and whether it is beyond its limit. What gathers below is drawn downwards.
    fn point(self, of: &v1::ChartPoint, limit: Option<Sigma>) -> Result<paper::Point, Trouble> {
        let (value, below) = match self {
            Charted::Value => (&of.value, None),
            Charted::Mean => (&of.ewma, None),
            Charted::Sums => (&of.above, Some(&of.below)),
        };
        let figure = |text: &str| Ok::<_, Trouble>(sigma(text)?.unwrap_or_default());
        let value = figure(value)?;
        let below = below.map(|below| figure(below)).transpose()?;
        let beyond = |of: Sigma| {
            limit.is_some_and(|limit| of.hundredths.saturating_abs() > limit.hundredths)
        };
        Ok(paper::Point {
            day: show::day(of.day.as_ref()),
            value,
            below: below.map(|below| Sigma {
                hundredths: below.hundredths.saturating_neg(),
            }),
            signal: beyond(value),
            below_signal: below.is_some_and(beyond),
        })
    }
}

/// A yield or points; nothing where there is none.
fn percent(of: &str) -> Result<Option<Percent>, Trouble> {
    if of.is_empty() {
        return Ok(None);
    }
    Percent::read(of).map(Some).ok_or(Trouble::Unreadable(
        "a yield of the close is no plain decimal",
    ))
}

fn drift(of: &v1::ScaleDrift) -> Result<paper::Drift, Trouble> {
    Ok(paper::Drift {
        first: of.first.clone(),
        second: of.second.clone(),
        pairs: of.pairs,
        more: percent(&of.bias_percent)?,
        limits: percent(&of.low_percent)?.zip(percent(&of.high_percent)?),
    })
}

/// Both ends of an interval, or nothing.
fn ends(of: &[String]) -> Result<Option<(Percent, Percent)>, Trouble> {
    match of {
        [from, to] => Ok(percent(from)?.zip(percent(to)?)),
        _ => Ok(None),
    }
}

/// A distance on a control chart; nothing where there is none.
fn sigma(of: &str) -> Result<Option<Sigma>, Trouble> {
    if of.is_empty() {
        return Ok(None);
    }
    Sigma::read(of).map(Some).ok_or(Trouble::Unreadable(
        "a point of a chart is no plain decimal",
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
        assert_eq!(balance.out[0].outlet, "discard");
        assert_eq!(close.yields[0].of_input, Percent::read("26.51"));
        assert_eq!(close.payouts[0].owed.to_string(), "-0.05");
        assert_eq!(
            (close.unit.as_str(), close.currency.as_str()),
            ("lb", "USD")
        );
    }

    #[test]
    fn a_chart_is_told_three_ways_and_a_point_beyond_its_limit_is_a_signal() {
        let point = |value: &str, below: &str| v1::ChartPoint {
            value: value.to_owned(),
            ewma: "0.10".to_owned(),
            above: "0.00".to_owned(),
            below: below.to_owned(),
            ..v1::ChartPoint::default()
        };
        let close = read(&v1::Close {
            charts: vec![v1::ControlChart {
                follows: v1::Follows::Supplier.into(),
                party: "osric-pell".to_owned(),
                points: vec![point("-3.00", "2.50"), point("-3.01", "5.01")],
                single_limit: "3.00".to_owned(),
                ewma_limit: "1.00".to_owned(),
                cusum_limit: "5.00".to_owned(),
                ..v1::ControlChart::default()
            }],
            ..v1::Close::default()
        });
        let charts = close.unwrap().control;
        let signals =
            |n: usize| -> Vec<bool> { charts[n].points.iter().map(|point| point.signal).collect() };
        assert_eq!(charts.len(), 3);
        assert_eq!(signals(0), [false, true], "at the limit is not beyond it");
        assert_eq!(signals(1), [false, false]);
        assert_eq!(signals(2), [false, false]);
        let below: Vec<bool> = charts[2].points.iter().map(|of| of.below_signal).collect();
        assert_eq!(below, [false, true]);
        assert_eq!(charts[2].points[1].below, Sigma::read("-5.01"));
        assert_eq!(charts[0].lower, Sigma::read("-3.00"));
        assert_eq!(charts[0].subject, "supplier osric-pell");
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
