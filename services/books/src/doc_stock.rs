//! How deeds about stock stand in a document: holds, releases, regrades,
//! movements, returns, makings and counts.

use rules::making::{
    Fate, Made, MadeFrom, MadeSource, Making, MakingAsked, MakingInput, MakingKind, MakingOutput,
    Source,
};
use rules::reweigh::{ReweighAsked, ReweighDone, Reweighed, TicketWeighing};
use rules::stock::{
    CountAsked, CountDone, CountedPart, DiscardCause, Found, Held, HoldAsked, HoldId, Moved,
    MovementAsked, PartRef, PoolAsked, PoolDone, RegradeAsked, Regraded, ReleaseAsked, Released,
    ReturnAsked, Returned, Taken, TakenFrom,
};

use crate::{doc_struct, doc_union, doc_word};

doc_union!(Source { "part" => Source::Part, "dispatch" => Source::Dispatch });
doc_union!(MadeSource { "part" => MadeSource::Part, "dispatch" => MadeSource::Dispatch });
doc_union!(Reweighed { "part" => Reweighed::Part, "weighing" => Reweighed::Weighing });
doc_word! { MakingKind, Fate, DiscardCause }

doc_struct! {
    HoldId { entry, line }
    PartRef { lot, part }
    HoldAsked { part, weight, reason, happened_us; later cause }
    Held { from, held, weight, pay }
    ReleaseAsked { hold, reason, happened_us }
    Released { from, part, weight, pay }
    RegradeAsked { part, weight, grade, condition, reason, happened_us }
    Regraded { from, part, weight }
    MovementAsked {
        site, outlet, taken, counterparty, reason, temperature, price, plan_line, happened_us;
        later cause
    }
    Taken { part, weight, emptied }
    Moved { taken, notices; later buyers_loss }
    TakenFrom { part, weight, emptied }
    ReturnAsked { movement, part, weight, reason, temperature, happened_us }
    Returned { held, outlet, weight }
    CountAsked { site, closes, counted, pool, happened_us }
    CountedPart { part, weight }
    PoolAsked { parts, weight, storage, grade }
    CountDone { counted, pool }
    Found { part, weight }
    PoolDone { making, weight }
    MakingAsked {
        site, kind, inputs, outputs, specification, cutter, kitchen, minutes, happened_us,
        ; later tally, plan_line,
    }
    MakingInput { source, weight, emptied }
    MakingOutput { presentation, fate, weight, storage, reason, grade }
    Making {
        kind, specification, cutter, kitchen, minutes, inputs, outputs, input, fillet,
        cutting_loss, table_unaccounted, not_weighed, notices,
    }
    MadeFrom { source, weight, emptied, supplier, species, presentation }
    ReweighAsked { site, what, reading, note, happened_us }
    TicketWeighing { ticket, lot, weighing }
    ReweighDone { lot, part, booked, difference, permissible }
    Made { presentation, fate, place, weight, storage, reason, grade }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
