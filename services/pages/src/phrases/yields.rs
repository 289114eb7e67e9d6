//! What may be said of yields, and what control charts say (8.1 to 8.4).

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    (
        "cuts out {compared:said} like-for-like fish of others ({interval:said}; {cuts:said}, {input:number} lb, {days:said})",
        "rinde {compared} el pescado comparable de otros ({interval}; {cuts}, {input} lb, {days})",
    ),
    (
        "no difference shown: {compared:said} like-for-like fish of others ({interval:said})",
        "no se muestra diferencia: {compared} el pescado comparable de otros ({interval})",
    ),
    (
        "no difference that names anybody: {compared:said} like-for-like fish of others ({interval:said})",
        "ninguna diferencia que permita nombrar a alguien: {compared} el pescado comparable de otros ({interval})",
    ),
    ("{number} points under", "{number} puntos menos que"),
    ("{number} points over", "{number} puntos más que"),
    (
        "95 % interval {from:said} to {to:said}",
        "intervalo del 95 %: de {from} a {to}",
    ),
    ("{number} under", "{number} menos"),
    ("{number} over", "{number} más"),
    ("1 cut", "1 corte"),
    ("{n} cuts", "{n} cortes"),
    ("1 day", "1 día"),
    ("{n} days", "{n} días"),
    (
        "supplier or kitchen, cannot say",
        "proveedor o cocina, no se puede decir",
    ),
    (
        "cannot be told apart from {cause:said}",
        "no se puede distinguir de {cause}",
    ),
    (
        "cuts whose cutter is not said",
        "cortes de los que no se anotó quién cortó",
    ),
    ("cutter {name:code}", "lo que corta {name}"),
    ("kitchen own table", "la mesa propia"),
    ("kitchen {name:code}", "la cocina {name}"),
    ("fish without a band", "pescado sin banda"),
    ("band {name}", "la banda {name}"),
    (
        "condition {condition:term}",
        "pescado de estado {condition}",
    ),
    (
        "fish whose condition is not said",
        "pescado cuyo estado no se anotó",
    ),
    ("a pool it was mixed with", "una mezcla con la que se juntó"),
    ("supplier {name:code}", "pescado del proveedor {name}"),
    (
        "who cut it and what fish it was, together",
        "quién lo cortó y qué pescado era, a la vez",
    ),
    // To a kitchen or a diver, who may not know of others.
    (
        "what it was cut with or by whom",
        "con qué se cortó o quién lo cortó",
    ),
    (
        "too little to say: no cut is left to tell it from chance",
        "muy poco para decir algo: no queda ningún corte para distinguirlo del azar",
    ),
    (
        "too little to say: {cuts:n} of {least_cuts:n} cuts, {input:number} of {least_input:number} lb, {days:n} of {least_days:n} days",
        "muy poco para decir algo: {cuts} de {least_cuts} cortes, {input} de {least_input} lb, {days} de {least_days} días",
    ),
    (
        "no other supplier's fish to compare with",
        "no hay pescado de otro proveedor con que comparar",
    ),
    ("no baseline is set", "no hay línea base fijada"),
    (
        "the baseline is too thin: {cuts:n} of {least:n} cuts that differ",
        "la línea base es muy corta: {cuts} de {least} cortes que difieran",
    ),
    (
        "since {since:day} {shift:said} its baseline (cumulative sum; {cuts:said}, found {found:day})",
        "desde el {since}, {shift} en su línea base (suma acumulada; {cuts}, hallado el {found})",
    ),
    (
        "on {day} the weighted mean went {side:said} the limit of its baseline",
        "el {day} la media ponderada pasó {side} del límite de su línea base",
    ),
    (
        "a cut of {day} was {side:said} the limit of its baseline",
        "un corte del {day} quedó {side} del límite de su línea base",
    ),
    ("below", "por debajo"),
    ("above", "por encima"),
    (
        "as in its baseline ({cuts:said} since)",
        "como en su línea base ({cuts} desde entonces)",
    ),
    (
        "own history, {cuts:n} cuts of {suppliers:n} suppliers",
        "historia propia, {cuts} cortes de {suppliers} proveedores",
    ),
];
