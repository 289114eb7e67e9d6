//! How a close stands as a document.

use rules::close::{
    CloseDoc, CloseState, CutBalance, DayBalance, Flag, FlagKind, OutletWeight, PartBalance,
    PayRow, UndersizeRow, YieldRow,
};

use super::{Given, Left, Manifest};
use crate::{doc_struct, doc_word};

doc_word! { CloseState, FlagKind }

doc_struct! {
    CloseDoc {
        site, day, rules_version, state, balance, parts, cuts, yields, undersize, payouts, flags,
        remarks,
    }
    DayBalance {
        opening, bought, returned, made, used, out, shrink, unaccounted, closing, cutting_loss,
        table_unaccounted,
    }
    OutletWeight { outlet, weight }
    PartBalance {
        part, species, presentation, supplier, opening, came_in, went_out, shrink, unaccounted,
        closing, counted, finished,
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
    Flag { kind, subject, text, weight, value, gap }
    Manifest { given, left }
    Given { site, day, upto_seq, opening, balances, history, settings, undrained, rules }
    Left { on_hand, balances }
}
