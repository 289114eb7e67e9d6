//! The tables of a close, one for each thing it tells of.

use crate::close::{Balance, Close, Control, SupplierYield};
use crate::table::{Cell, Column, Table};
use crate::{Money, Percent, Weight};

impl Close {
    /// Every table, in the order of the page; one without rows says that there is nothing.
    #[must_use]
    pub fn tables(&self) -> Vec<Table> {
        vec![
            self.flags_table(),
            self.balance_table(),
            self.causes_table(),
            self.losses_table(),
            self.supplier_yields_table(&self.supplier_yields.iter().collect::<Vec<_>>()),
            self.differences_table(),
            self.groups_table(),
            self.yields_table(),
            self.control_table(&self.control.iter().collect::<Vec<_>>()),
            self.cuts_table(),
            self.undersize_table(),
            self.lines_done_table(),
            self.left_table(),
            self.small_fish_table(),
            self.drifts_table(),
            self.parts_table(),
            self.payouts_table(),
            self.remarks_table(),
        ]
    }

    pub(crate) fn flags_table(&self) -> Table {
        let rows = self.flags.iter().map(|flag| {
            vec![
                words(&flag.key),
                words(&flag.day),
                words(&flag.kind),
                words(if flag.is_gap { "yes" } else { "" }),
                words(&flag.about),
                maybe(flag.weight),
                maybe(flag.value),
                words(&flag.standing),
                words(&flag.text),
                words(flag.evidence.join("; ")),
                words(&flag.next_step),
            ]
        });
        Table {
            name: "flags",
            title: "What to look at".to_owned(),
            columns: vec![
                Column::plain("key"),
                Column::plain("day"),
                Column::plain("flag"),
                Column::plain("gap"),
                Column::plain("about"),
                self.weights("weight"),
                self.amounts("value"),
                Column::plain("standing"),
                Column::plain("what it says"),
                Column::plain("evidence"),
                Column::plain("next step"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to look at.",
        }
    }

    pub(crate) fn balance_table(&self) -> Table {
        let steps = self.balance.iter().flat_map(Balance::steps);
        let steps = steps.map(|step| (step.side.words(), step.what, step.weight));
        let at_table = self.balance.iter().flat_map(|of| {
            [
                ("thrown out at the table", of.thrown_out_at_table),
                ("cutting loss", of.cutting_loss),
                ("beyond the allowance", of.table_unaccounted),
            ]
        });
        let at_table = at_table.map(|(what, weight)| ("of what went into makings", what, weight));
        let rows = steps.chain(at_table);
        let rows = rows.map(|(side, what, weight)| vec![words(side), words(what), shown(weight)]);
        Table {
            name: "balance",
            title: "Weight of the day: what there was, and where it is".to_owned(),
            columns: vec![
                Column::plain("side"),
                Column::plain("what"),
                self.weights("weight"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: there is no balance of the day.",
        }
    }

    pub(crate) fn causes_table(&self) -> Table {
        let rows = self
            .causes
            .iter()
            .map(|of| vec![words(&of.cause), shown(of.weight), maybe(Some(of.value))]);
        Table {
            name: "causes",
            title: "What the day lost, by cause".to_owned(),
            columns: vec![
                Column::plain("cause"),
                self.weights("weight"),
                self.amounts("at cost"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: losses were not worked out.",
        }
    }

    pub(crate) fn losses_table(&self) -> Table {
        let rows = self.losses.iter().map(|loss| {
            vec![
                words(&loss.by),
                words(&loss.of),
                words(&loss.at),
                shown(loss.input),
                shown(loss.missing_fillet),
                maybe(loss.material),
                maybe(loss.margin),
            ]
        });
        Table {
            name: "losses",
            title: "Fillet under its reference".to_owned(),
            columns: vec![
                Column::plain("by"),
                Column::plain("of"),
                Column::plain("at"),
                self.weights("in"),
                self.weights("fillet missing"),
                self.amounts("fish paid for"),
                self.amounts("margin beside"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no fillet was under its reference, or there is none to tell it by.",
        }
    }

    pub(crate) fn groups_table(&self) -> Table {
        let rows = self.groups.iter().map(|of| {
            let (from, to) = of.limits.unzip();
            vec![
                words(&of.group),
                number(of.cuts),
                shown(of.input),
                maybe(of.of_input),
                maybe(from),
                maybe(to),
                maybe(of.reference),
                words(&of.reference_source),
                shown(of.fillet_today),
                decimal(&of.cost_of_edible),
                of.portions.map_or(Cell::Empty, number),
                maybe(of.cost_of_plate),
            ]
        });
        Table {
            name: "groups",
            title: "Like fish together, and what its fillet costs".to_owned(),
            columns: vec![
                Column::plain("fish, cut to"),
                Column::plain("cuts"),
                self.weights("in"),
                Column::of("yield", "%"),
                Column::of("95 % from", "%"),
                Column::of("95 % to", "%"),
                Column::of("reference", "%"),
                Column::plain("reference from"),
                self.weights("fillet today"),
                Column::of("its cost", &self.price_unit),
                Column::plain("plates"),
                self.amounts("fish of a plate"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: nothing was cut in the days looked back on.",
        }
    }

    pub(crate) fn supplier_yields_table(&self, of: &[&SupplierYield]) -> Table {
        let rows = of.iter().map(|of| {
            let (from, to) = of.limits.unzip();
            let (more_from, more_to) = of.like_for_like_limits.unzip();
            vec![
                words(&of.supplier),
                words(&of.group),
                number(of.cuts),
                of.days.map_or(Cell::Empty, number),
                shown(of.input),
                maybe(of.of_input),
                maybe(from),
                maybe(to),
                maybe(of.shrunk),
                maybe(of.like_for_like),
                maybe(more_from),
                maybe(more_to),
                maybe(of.reference),
                words(&of.reference_source),
                words(&of.sentence),
            ]
        });
        Table {
            name: "supplier-yields",
            title: "Yield by supplier, held against like fish".to_owned(),
            columns: vec![
                Column::plain("supplier"),
                Column::plain("fish, cut to"),
                Column::plain("cuts"),
                Column::plain("days"),
                self.weights("in"),
                Column::of("yield", "%"),
                Column::of("95 % from", "%"),
                Column::of("95 % to", "%"),
                Column::of("drawn to group", "%"),
                Column::of("like for like", "points"),
                Column::of("like for like from", "points"),
                Column::of("like for like to", "points"),
                Column::of("reference", "%"),
                Column::plain("reference from"),
                Column::plain("what may be said"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no yields were judged.",
        }
    }

    pub(crate) fn differences_table(&self) -> Table {
        let known = self.supplier_yields.iter();
        let known = known.filter_map(|of| of.difference.map(|made_of| (of, made_of)));
        let rows = known.map(|(of, made_of)| {
            vec![
                words(&of.supplier),
                words(&of.group),
                maybe(Some(made_of.all)),
                maybe(Some(made_of.band)),
                maybe(Some(made_of.condition)),
                maybe(Some(made_of.cutter)),
                maybe(Some(made_of.kitchen)),
                maybe(Some(made_of.rest)),
                maybe(Some(made_of.fits)),
            ]
        });
        Table {
            name: "differences",
            title: "What a difference from the others is made of".to_owned(),
            columns: vec![
                Column::plain("supplier"),
                Column::plain("fish, cut to"),
                Column::of("difference", "points"),
                Column::of("sizes", "points"),
                Column::of("condition", "points"),
                Column::of("cutter", "points"),
                Column::of("kitchen", "points"),
                Column::of("rest", "points"),
                Column::of("fits and rounding", "points"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no difference can be told apart yet.",
        }
    }

    pub(crate) fn yields_table(&self) -> Table {
        let rows = self.yields.iter().map(|of| {
            vec![
                words(&of.supplier),
                words(&of.fish),
                words(&of.cut_to),
                number(of.cuts),
                shown(of.input),
                shown(of.fillet),
                maybe(of.of_input),
                number(of.mixed_cuts),
                shown(of.mixed_input),
            ]
        });
        Table {
            name: "yields",
            title: "Plain yields of the day".to_owned(),
            columns: vec![
                Column::plain("supplier"),
                Column::plain("fish"),
                Column::plain("cut to"),
                Column::plain("cuts"),
                self.weights("in"),
                self.weights("fillet"),
                Column::of("yield", "%"),
                Column::plain("mixed cuts left out"),
                self.weights("in mixed cuts"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: nothing was cut.",
        }
    }

    pub(crate) fn control_table(&self, of: &[&Control]) -> Table {
        let rows = of.iter().flat_map(|of| {
            of.points.iter().zip(1..).map(|(point, n)| {
                vec![
                    words(&of.subject),
                    words(&of.method),
                    number(n),
                    words(&point.day),
                    Cell::figure(point.value.to_string()),
                    Cell::figure(point.below.map(|of| of.to_string())),
                    Cell::figure(of.lower.map(|of| of.to_string())),
                    Cell::figure(of.centre.to_string()),
                    Cell::figure(of.upper.map(|of| of.to_string())),
                    words(match (point.signal, point.below_signal) {
                        (false, false) => "",
                        (true, _) => "beyond",
                        (false, true) => "beyond, below",
                    }),
                ]
            })
        });
        Table {
            name: "control",
            title: "Control charts".to_owned(),
            columns: vec![
                Column::plain("about"),
                Column::plain("method"),
                Column::plain("cut"),
                Column::plain("day"),
                Column::of("value", "sd"),
                Column::of("gathered below", "sd"),
                Column::of("lower limit", "sd"),
                Column::of("centre", "sd"),
                Column::of("upper limit", "sd"),
                Column::plain("signal"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no baseline is set, or nothing was cut since.",
        }
    }

    pub(crate) fn cuts_table(&self) -> Table {
        let rows = self.cuts.iter().map(|cut| {
            vec![
                words(&cut.entry),
                words(&cut.cutter),
                shown(cut.input),
                shown(cut.fillet),
                shown(cut.other_lots),
                shown(cut.discard),
                shown(cut.cutting_loss),
                shown(cut.beyond),
                words(&cut.outputs),
            ]
        });
        Table {
            name: "cuts",
            title: "Cuts".to_owned(),
            columns: vec![
                Column::plain("entry"),
                Column::plain("cutter"),
                self.weights("in"),
                self.weights("fillet"),
                self.weights("other lots"),
                self.weights("thrown out"),
                self.weights("cutting loss"),
                self.weights("beyond it"),
                Column::plain("outputs"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: nothing was cut.",
        }
    }

    pub(crate) fn undersize_table(&self) -> Table {
        let rows = self.undersize.iter().map(|row| {
            vec![
                words(&row.part),
                words(&row.fish),
                words(&row.supplier),
                shown(row.taken_in),
                words(&row.proposed_to),
                words(&row.went_to),
                shown(row.made),
                shown(row.left),
                words(&row.proposed_reason),
            ]
        });
        Table {
            name: "undersize",
            title: "Below the plate minimum, and where it went".to_owned(),
            columns: vec![
                Column::plain("part"),
                Column::plain("fish"),
                Column::plain("supplier"),
                self.weights("taken in"),
                Column::plain("proposed to"),
                Column::plain("went to"),
                self.weights("made into lots"),
                self.weights("left"),
                Column::plain("why proposed"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no small fish was taken in.",
        }
    }

    pub(crate) fn lines_done_table(&self) -> Table {
        let rows = self.lines_done.iter().map(|row| {
            vec![
                words(&row.line),
                words(&row.part),
                words(&row.room),
                shown(row.planned),
                shown(row.went),
                shown(row.difference),
                words(&row.by),
            ]
        });
        Table {
            name: "plans_carried_out",
            title: "Plans for small fish, and what became of them".to_owned(),
            columns: vec![
                Column::plain("line"),
                Column::plain("part"),
                Column::plain("room"),
                self.weights("planned"),
                self.weights("went"),
                self.weights("difference"),
                Column::plain("by"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no plan was carried out.",
        }
    }

    pub(crate) fn left_table(&self) -> Table {
        let rows = self.left.iter().map(|row| {
            vec![
                words(&row.part),
                words(&row.room),
                shown(row.on_ice),
                maybe(row.handed_over),
                words(&row.first),
                maybe(row.brings),
                words(&row.why),
            ]
        });
        Table {
            name: "small_fish_left",
            title: "Small fish left, planned for the next day".to_owned(),
            columns: vec![
                Column::plain("part"),
                Column::plain("to"),
                self.weights("on ice"),
                self.weights("handed over"),
                Column::plain("first"),
                self.amounts("brings"),
                Column::plain("why"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no small fish is left, or no room for it is on file.",
        }
    }

    pub(crate) fn small_fish_table(&self) -> Table {
        let rows = self.small_fish.iter().map(|row| {
            vec![
                words(&row.fish),
                words(&row.band),
                number(row.cuts),
                maybe(row.of_input),
                decimal(&row.minutes_per_fish),
                decimal(&row.cut),
                decimal(&row.soup),
                decimal(&row.within),
                words(&row.answer),
                maybe(row.break_even),
                maybe(row.break_even_from),
                maybe(row.break_even_to),
            ]
        });
        Table {
            name: "small-fish",
            title: "Cutting or soup, by band".to_owned(),
            columns: vec![
                Column::plain("fish"),
                Column::plain("band"),
                Column::plain("cuts"),
                Column::of("yield", "%"),
                Column::of("a fish takes", "min"),
                Column::of("cutting brings", &self.price_unit),
                Column::of("soup brings", &self.price_unit),
                Column::of("may be off by", &self.price_unit),
                Column::plain("so"),
                self.weights("pays from"),
                self.weights("pays from, least"),
                self.weights("pays from, most"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: no cut of one band was timed and its fish counted.",
        }
    }

    pub(crate) fn drifts_table(&self) -> Table {
        let rows = self.drifts.iter().map(|of| {
            let (from, to) = of.limits.unzip();
            vec![
                words(&of.first),
                words(&of.second),
                number(of.pairs),
                maybe(of.more),
                maybe(from),
                maybe(to),
            ]
        });
        Table {
            name: "drifts",
            title: "Scales held against each other; which of two is wrong cannot be known from it"
                .to_owned(),
            columns: vec![
                Column::plain("first scale"),
                Column::plain("second scale"),
                Column::plain("times"),
                Column::of("second weighs more by", "%"),
                Column::of("95 % from", "%"),
                Column::of("95 % to", "%"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: too few weighings were repeated on another scale.",
        }
    }

    pub(crate) fn parts_table(&self) -> Table {
        let rows = self.parts.iter().map(|part| {
            vec![
                words(&part.part),
                words(&part.fish),
                words(&part.supplier),
                shown(part.opening),
                shown(part.taken_in),
                shown(part.out),
                shown(part.shrink),
                shown(part.unaccounted),
                maybe(part.explained),
                shown(part.closing),
                words(&part.count),
            ]
        });
        Table {
            name: "parts",
            title: "Parts".to_owned(),
            columns: vec![
                Column::plain("part"),
                Column::plain("fish"),
                Column::plain("supplier"),
                self.weights("opening"),
                self.weights("in"),
                self.weights("out"),
                self.weights("drip"),
                self.weights("unaccounted"),
                self.weights("explained up to"),
                self.weights("closing"),
                Column::plain("count"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: there was no part on hand.",
        }
    }

    pub(crate) fn payouts_table(&self) -> Table {
        let amount = |of: Money| Cell::figure(of.to_string());
        let rows = self.payouts.iter().map(|pay| {
            vec![
                words(&pay.party),
                amount(pay.owed_today),
                amount(pay.owed),
                amount(pay.held),
            ]
        });
        Table {
            name: "payouts",
            title: "Payouts".to_owned(),
            columns: vec![
                Column::plain("party"),
                self.amounts("added today"),
                self.amounts("owed in all"),
                self.amounts("held, not owed yet"),
            ],
            rows: rows.collect(),
            nothing: "Nothing to show: nobody is owed anything.",
        }
    }

    pub(crate) fn remarks_table(&self) -> Table {
        Table {
            name: "remarks",
            title: "What the figures leave out".to_owned(),
            columns: vec![Column::plain("remark")],
            rows: self
                .remarks
                .iter()
                .map(|remark| vec![words(remark)])
                .collect(),
            nothing: "Nothing to show: the figures leave nothing out that is known of.",
        }
    }

    fn weights(&self, heading: &'static str) -> Column {
        Column::of(heading, &self.unit)
    }

    fn amounts(&self, heading: &'static str) -> Column {
        Column::of(heading, &self.currency)
    }
}

/// Which way a step of the balance goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// On hand at the start.
    Start,
    /// Came in.
    In,
    /// Went.
    Out,
    /// On hand at the end.
    End,
}

impl Side {
    const fn words(self) -> &'static str {
        match self {
            Side::Start | Side::In => "there was",
            Side::Out => "went",
            Side::End => "is",
        }
    }
}

/// A line of the balance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Step<'a> {
    pub(crate) side: Side,
    pub(crate) what: &'a str,
    pub(crate) weight: Weight,
}

impl Balance {
    /// From what was on hand to what is.
    pub(crate) fn steps(&self) -> Vec<Step<'_>> {
        let step = |side, what, weight| Step { side, what, weight };
        let mut steps = vec![
            step(Side::Start, "on hand at the start", self.opening),
            step(Side::In, "bought", self.bought),
            step(Side::In, "brought back", self.returned),
            step(Side::In, "made into lots", self.made),
            step(Side::Out, "into makings", self.used),
        ];
        steps.extend(
            self.out
                .iter()
                .map(|out| step(Side::Out, &out.outlet, out.weight)),
        );
        steps.extend([
            step(Side::Out, "drip expected", self.shrink),
            step(Side::Out, "unaccounted", self.unaccounted),
            step(Side::End, "on hand at the end", self.closing),
        ]);
        steps
    }
}

fn words(words: impl Into<String>) -> Cell {
    Cell::words(words)
}

fn number(number: i32) -> Cell {
    Cell::figure(number.to_string())
}

fn shown(weight: Weight) -> Cell {
    Cell::figure(weight.to_string())
}

/// A number that stays as it was written.
fn decimal(text: &str) -> Cell {
    Cell::figure(text.to_owned())
}

/// A figure where there is one.
fn maybe(figure: Option<impl Figure>) -> Cell {
    Cell::figure(figure.map(|of| of.to_string()))
}

/// What [`maybe`] takes.
trait Figure: std::fmt::Display {}
impl Figure for Weight {}
impl Figure for Money {}
impl Figure for Percent {}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use crate::sample;

    #[test]
    fn every_table_has_a_name_of_its_own_and_full_rows_under_headings_of_their_own() {
        let tables = sample::close().tables();
        let names: BTreeSet<&str> = tables.iter().map(|table| table.name).collect();
        assert_eq!(names.len(), tables.len());
        for table in tables {
            let keys: BTreeSet<String> = table.columns.iter().map(|of| of.key()).collect();
            assert_eq!(keys.len(), table.columns.len(), "{}: {keys:?}", table.name);
            assert!(!table.rows.is_empty(), "{} has a sample", table.name);
            for row in &table.rows {
                assert_eq!(row.len(), table.columns.len(), "{}", table.name);
            }
        }
    }
}
