//! How settlements, advances, charges, drawer counts and disputes stand in a
//! document.

use rules::dispute::{AnswerAsked, DisputeAsked, DisputeOpened};
use rules::settlement::{
    AdvanceAsked, ChargeAsked, Deducted, DrawerAsked, DrawerFound, Due, Item, Method, Payment,
    SettleAsked, Settled, TakeBackAsked,
};

use crate::{doc_struct, doc_word};

doc_word! { Method }

doc_struct! {
    SettleAsked { site, payee, tickets, from, to, payments, note, happened_us }
    Payment { method, amount, reference }
    AdvanceAsked { site, payee, payment, reason, happened_us }
    ChargeAsked { site, payee, name, amount, order, happened_us }
    TakeBackAsked { entry, reason }
    Due { entry, advance, name, order, left }
    Deducted { due, taken }
    Item { entry, what, ticket, amount }
    Settled { before, items, brought, payable, deductions, deducted, paid, carried, open_from }
    DrawerAsked { site, day, opening, counted, note, happened_us }
    DrawerFound { paid, expected, difference }
    DisputeAsked { ticket, line, text }
    DisputeOpened { party, amount }
    AnswerAsked { dispute, answer }
}

#[cfg(test)]
mod tests;
