//! What receiving found of a lot, and what it warns of.
//!
//! A finding is a sentence without its full stop; a warning about it says the lot first.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    ("Lot {lot:n}: {found:said}.", "Lote {lot}: {found}."),
    // Law, as the site keeps it.
    ("no legal length is set", "no hay talla legal fijada"),
    (
        "the smallest fish was not measured; legal length {least:reading}",
        "no se midió el pez más pequeño; talla legal {least}",
    ),
    (
        "smallest fish {smallest:reading}, legal length {least:reading}",
        "pez más pequeño {smallest}, talla legal {least}",
    ),
    (
        "smallest fish {smallest:reading} is below the legal length of {least:reading}",
        "el pez más pequeño, {smallest}, está por debajo de la talla legal de {least}",
    ),
    ("no closed season is set", "no hay veda fijada"),
    ("in season", "en temporada"),
    (
        "caught out of season, on {day}",
        "pescado fuera de temporada, el {day}",
    ),
    (
        "caught out of season, on {from:day} to {to:day}",
        "pescado fuera de temporada, del {from} al {to}",
    ),
    ("no trip limit is set", "no hay límite por salida fijado"),
    (
        "not all of it was counted; {limit:said}",
        "no se contó todo; {limit}",
    ),
    (
        "{taken:said} on this ticket is over the {limit:said}",
        "{taken} en este boleto es más que el {limit}",
    ),
    ("{n} fish", "{n} peces"),
    ("trip limit {n} fish", "límite por salida de {n} peces"),
    ("trip limit {weight}", "límite por salida de {weight}"),
    ("within the {limits:said}", "dentro del {limits}"),
    // Areas of concern.
    (
        "no area of concern is set for this species",
        "no hay área de riesgo fijada para esta especie",
    ),
    (
        "nobody can say for certain where it was caught",
        "nadie sabe con certeza dónde se pescó",
    ),
    (
        "caught in {area:name}, an area of concern",
        "pescado en {area}, un área de riesgo",
    ),
    (
        "caught in {area:name}, an area of concern ({note:name})",
        "pescado en {area}, un área de riesgo ({note})",
    ),
    (
        "no area of the list \"{list:name}\" was recorded, which has areas of concern",
        "no se anotó ninguna área de la lista «{list}», que tiene áreas de riesgo",
    ),
    ("from no area of concern", "de ninguna área de riesgo"),
    // Cold.
    (
        "{warmest:reading} at the warmest, limit {limit:reading}",
        "{warmest} lo más caliente, límite {limit}",
    ),
    (
        "{warmest:reading} at the warmest is above the limit of {limit:reading}",
        "{warmest} lo más caliente, por encima del límite de {limit}",
    ),
    (
        "{taken:n} probed, {asked:n} asked for",
        "{taken} medidos, se pedían {asked}",
    ),
    (
        "came in warm, iced and cooling; probe it again within {n} h, and hold it if it is still above {limit:reading}",
        "llegó caliente, con hielo y enfriándose; mídalo otra vez en un plazo de {n} h, y reténgalo si sigue por encima de {limit}",
    ),
    (
        "torn fish is cut the same day and not donated",
        "el pescado desgarrado se corta el mismo día y no se dona",
    ),
    // Histamine.
    (
        "no histamine table is set",
        "no hay tabla de histamina fijada",
    ),
    (
        "it takes a temperature, and when the first fish was speared",
        "hace falta una temperatura, y cuándo se arponeó el primer pez",
    ),
    (
        "first speared more than {n} h ago, where the site's table ends",
        "el primero se arponeó hace más de {n} h, donde acaba la tabla del sitio",
    ),
    (
        "{warmest:reading} at the warmest is above {limit:reading} for up to {n} h",
        "{warmest} lo más caliente, por encima de {limit} para un máximo de {n} h",
    ),
    (
        "{warmest:reading} at the warmest keeps {limit:reading} for up to {n} h",
        "{warmest} lo más caliente, cumple {limit} para un máximo de {n} h",
    ),
    // Licences.
    (
        "{name} has no licence on file: the payment is held back until one is shown, the fish is not.",
        "No consta licencia de {name}: se retiene el pago hasta que se muestre una, el pescado no.",
    ),
    (
        "The licence of {name} ran out after {last:day}: the payment is held back until a valid one is shown, the fish is not.",
        "La licencia de {name} venció después del {last}: se retiene el pago hasta que se muestre una válida, el pescado no.",
    ),
    // Where fish below the plate minimum is proposed to go.
    (
        "Refused at the dock: goes to nobody.",
        "Rechazado en el muelle: no va a nadie.",
    ),
    (
        "Held: goes nowhere until the office releases it.",
        "Retenido: no va a ninguna parte hasta que la oficina lo libere.",
    ),
    ("The diver took it home.", "El buzo se lo llevó a casa."),
    (
        "Below the plate minimum; the diver took it home.",
        "Por debajo del mínimo de plato; el buzo se lo llevó a casa.",
    ),
    (
        "Below the plate minimum; {why:said}.",
        "Por debajo del mínimo de plato; {why}.",
    ),
    (
        "torn fish is not donated, and is cut the same day",
        "el pescado desgarrado no se dona, y se corta el mismo día",
    ),
    (
        "the site gives undersize fish away first",
        "el sitio regala primero el pescado pequeño",
    ),
    (
        "the site makes soup of undersize fish first; torn, so cut the same day",
        "el sitio hace primero sopa del pescado pequeño; está desgarrado, así que se corta el mismo día",
    ),
    (
        "the site makes soup of undersize fish first",
        "el sitio hace primero sopa del pescado pequeño",
    ),
    (
        "Gutted and head-off first: ciguatera hazard.",
        "Antes, eviscerado y sin cabeza: riesgo de ciguatera.",
    ),
];
