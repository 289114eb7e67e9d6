//! How a payment was made, what an advance is for, and the names that the rules give to
//! rows of pay.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    ("{payment:said}, {more:said}", "{payment}, {more}"),
    (
        "{method} {money} ({reference:name})",
        "{method} {money} ({reference})",
    ),
    ("{method} {money}", "{method} {money}"),
    (
        "{reason:name}, {method} {money} ({reference:name})",
        "{reason}, {method} {money} ({reference})",
    ),
    (
        "{reason:name}, {method} {money}",
        "{reason}, {method} {money}",
    ),
    (
        "advance {entry:n}: {reason:name}",
        "anticipo {entry}: {reason}",
    ),
    ("charge {entry:n}: {reason:name}", "cargo {entry}: {reason}"),
    ("cut at 0.00", "recortado a 0.00"),
    ("price shown offline", "precio mostrado sin señal"),
    ("buyer's loss", "pérdida del comprador"),
];
