//! How a close stands as a document.

use rules::close::{CauseRow, ChartRow, LossBy, LossRow, SmallFishRow, SupplierRow, YieldGroupRow};
use rules::close::{
    CloseDoc, CloseState, CutBalance, DayBalance, Flag, FlagKind, LeftLine, LeftPart, LeftPlan,
    LineDone, OutletWeight, PartBalance, PayRow, UndersizeRow, YieldRow,
};
use rules::drift::Drift;
use rules::small_fish::CutOrSoup;

use super::{Given, Left, Looked, Manifest};
use crate::doc::{BadDoc, Doc, Value};
use crate::{doc_struct, doc_word};

doc_word! { CloseState, FlagKind, LossBy, CutOrSoup }

doc_struct! {
    CloseDoc {
        site, day, rules_version, state, balance, parts, cuts, yields, undersize, payouts, flags,
        remarks;
        later drifts, supplier_yields, charts, losses, causes, small_fish, lines_done, left_plan,
    }
    YieldGroupRow {
        species, presentation, specification, customer_kitchen, cuts, input, fillet, yield_e2,
        interval_e2, reference_e2, reference_source, fillet_today, edible, portions, plate,
        suppliers,
    }
    SupplierRow {
        supplier, cuts, days, input, mixed_cuts, mixed_input, yield_e2, interval_e2, shrunk_e2,
        difference_e2, band_e2, condition_e2, cutter_e2, kitchen_e2, rest_e2, fits_e2,
        rest_interval_e2, named_low, says,
    }
    ChartRow {
        follows, party, from, to, baseline_cuts, days, values_e2, ewma_e2, above_e2, below_e2,
        limits_e2, found, says,
    }
    LossRow { by, name, customer_kitchen, input, missing_fillet, material, margin }
    CauseRow { cause, weight, value }
    SmallFishRow {
        species, presentation, specification, band, cuts, timed_cuts, piece, yield_e2, yield_u_e2,
        minutes_e2, minutes_u_e2,
        cut, soup, within, answer, break_even,
    }
    Drift { first, second, pairs, bias_ppm, low_ppm, high_ppm }
    LineDone { plan, line, by, part, room, room_name, planned, delivered, promised }
    LeftPlan { lines, left, kept, money }
    LeftLine { part, room, kind, weight, delivered, dress, net }
    LeftPart { part, weight, why }
    DayBalance {
        opening, bought, returned, made, used, out, shrink, unaccounted, closing, cutting_loss,
        table_unaccounted,
    }
    OutletWeight { outlet, weight }
    PartBalance {
        part, species, presentation, supplier, opening, came_in, went_out, shrink, unaccounted,
        closing, counted, finished; later explained,
    }
    CutBalance {
        entry, cutter, input, fillet, other_lots, discard, cutting_loss, table_unaccounted, judged,
    }
    YieldRow {
        supplier, species, presentation, specification, customer_kitchen, cuts, input, fillet,
        yield_e2, mixed_cuts, mixed_input,
    }
    UndersizeRow {
        part, species, supplier, proposed, proposed_reason, taken_in, out, made_into_lots, left,
    }
    PayRow { party, owed, held, owed_today }
    Flag { kind, subject, text, weight, value, gap; later evidence }
    Manifest { given, left }
    Given {
        site, day, upto_seq, opening, balances, history, settings, undrained, rules;
        later looked,
    }
    Left { on_hand, balances }
}

/// Days with their revisions, a bar, then baselines: `20310428.1 20310429.2|` is short
/// where a year of days is looked back on.
impl Doc for Looked {
    fn to_doc(&self) -> Value {
        let cuts = self.cuts.iter().map(|(day, n)| format!("{day}.{n}"));
        let baselines = self.baselines.iter().map(i64::to_string);
        let [cuts, baselines] = [cuts.collect::<Vec<_>>(), baselines.collect()];
        Value::String(format!("{}|{}", cuts.join(" "), baselines.join(" ")))
    }
    fn from_doc(value: &Value) -> Result<Looked, BadDoc> {
        let bad = || BadDoc::here("days with revisions, a bar and baselines were expected");
        let text = value.as_str().ok_or_else(bad)?;
        let (cuts, baselines) = text.split_once('|').ok_or_else(bad)?;
        let number = |text: &str| text.parse().map_err(|_| bad());
        let pair = |text: &str| {
            let (day, revision) = text.split_once('.').ok_or_else(bad)?;
            Ok((number(day)?, number(revision)?))
        };
        Ok(Looked {
            cuts: cuts
                .split_whitespace()
                .map(pair)
                .collect::<Result<_, _>>()?,
            baselines: baselines
                .split_whitespace()
                .map(number)
                .collect::<Result<_, _>>()?,
        })
    }
}
