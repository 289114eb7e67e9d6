//! Why a form is refused, in the words of the book.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    // Figures.
    (
        "is not a plain decimal number such as 42.00",
        "no es un número decimal simple como 42.00",
    ),
    ("must not be negative", "no puede ser negativo"),
    (
        "has more than {n} places after the point",
        "tiene más de {n} cifras después del punto",
    ),
    ("is too large", "es demasiado grande"),
    ("must be above zero", "debe ser mayor que cero"),
    ("minutes {why:said}", "los minutos: {why}"),
    // A weigh-in.
    (
        "A weigh-in has at least one lot.",
        "Una pesada tiene al menos un lote.",
    ),
    (
        "Lot {lot:n} has no weighing; it needs at least one.",
        "El lote {lot} no tiene ningún peso; hace falta al menos uno.",
    ),
    (
        "Lot {lot:n}, weighing {n}: fish weighed one by one needs at least one reading.",
        "Lote {lot}, peso {n}: el pescado pesado uno a uno necesita al menos una lectura.",
    ),
    (
        "Lot {lot:n}, weighing {n}: {some:n} fish one by one; a weighing may have {most:n}.",
        "Lote {lot}, peso {n}: {some} peces uno a uno; un peso puede tener {most}.",
    ),
    (
        "Lot {lot:n}, weighing {n}: {pieces:n} pieces; a tote with fish has at least one, and fish that was not counted leaves the number out.",
        "Lote {lot}, peso {n}: {pieces} peces; una caja con pescado tiene al menos uno, y si no se contó se deja vacío.",
    ),
    (
        "Lot {lot:n} has more than {most:n} pieces.",
        "El lote {lot} tiene más de {most} peces.",
    ),
    (
        "Lot {lot:n}: no species \"{species:name}\" is on file.",
        "Lote {lot}: no hay ninguna especie \"{species}\" en los registros.",
    ),
    (
        "Lot {lot:n}, weighing {n}, {which:said}: the site has no scale \"{scale:name}\".",
        "Lote {lot}, peso {n}, {which}: el sitio no tiene ninguna báscula \"{scale}\".",
    ),
    (
        "Lot {lot:n}, weighing {n}: no tare is posted for a tote \"{tote:name}\" of the site.",
        "Lote {lot}, peso {n}: no hay tara publicada de una caja \"{tote}\" del sitio.",
    ),
    (
        "Lot {lot:n}, weighing {n}, {which:said}: the weight must be above zero.",
        "Lote {lot}, peso {n}, {which}: el peso debe ser mayor que cero.",
    ),
    (
        "Lot {lot:n}, weighing {n}, {which:said}: one weight is at most 10 t.",
        "Lote {lot}, peso {n}, {which}: un peso es de 10 t como máximo.",
    ),
    (
        "Lot {lot:n}: one lot is at most 10 t.",
        "Lote {lot}: un lote es de 10 t como máximo.",
    ),
    (
        "Lot {lot:n}, weighing {n}: the tare {tare:weight} must be below the gross {gross:weight}.",
        "Lote {lot}, peso {n}: la tara {tare} debe ser menor que el bruto {gross}.",
    ),
    (
        "Lot {lot:n}, weighing {n}: the ice allowance leaves no fish to pay for.",
        "Lote {lot}, peso {n}: el descuento por hielo no deja pescado que pagar.",
    ),
    (
        "Lot {lot:n}: fish that is held or refused needs a reason.",
        "Lote {lot}: el pescado retenido o rechazado necesita un motivo.",
    ),
    (
        "Lot {lot:n}: refused fish needs the corrective action taken.",
        "Lote {lot}: el pescado rechazado necesita la acción correctiva que se tomó.",
    ),
    (
        "An amount on the ticket is too large.",
        "Un importe del boleto es demasiado grande.",
    ),
    (
        "Lot {lot:n}: no price list for {species:code} is in force at the ticket's price instant.",
        "Lote {lot}: no hay lista de precios de {species} que valga en el momento del precio del boleto.",
    ),
    (
        "Lot {lot:n}: the price list in force does not buy {form:term}.",
        "Lote {lot}: la lista que vale no compra {form}.",
    ),
    (
        "Lot {lot:n}, weighing {n}: the price list in force does not buy {form:term} of grade {grade:code}.",
        "Lote {lot}, peso {n}: la lista que vale no compra {form} de calidad {grade}.",
    ),
    (
        "Lot {lot:n}, weighing {n}: the fish was not counted, and the price list in force has no price for that.",
        "Lote {lot}, peso {n}: el pescado no se contó, y la lista que vale no tiene precio para eso.",
    ),
    // An answer at the dock that does not stand.
    (
        "lot {lot:n}: {found:said}: weigh it in as refused, with its corrective action",
        "lote {lot}: {found}: péselo como rechazado, con su acción correctiva",
    ),
    (
        "lot {lot:n}: {found:said}: hold it, or weigh it in as refused, with its corrective action",
        "lote {lot}: {found}: reténgalo, o péselo como rechazado, con su acción correctiva",
    ),
    (
        "lot {lot:n}: {found:said}: hold it until the area is clear, or weigh it in as refused",
        "lote {lot}: {found}: reténgalo hasta que el área esté clara, o péselo como rechazado",
    ),
    (
        "lot {lot:n}: {found:said}: it is not said to be iced and cooling (ice_around and iced_at): hold it, or weigh it in as refused, with its corrective action",
        "lote {lot}: {found}: no se dijo que esté en hielo y enfriándose: reténgalo, o péselo como rechazado, con su acción correctiva",
    ),
    // Landing.
    (
        "fish caught until {caught:day} was not landed on {landed:day}: it is caught before it is landed",
        "lo pescado hasta el {caught} no se desembarcó el {landed}: se pesca antes de desembarcar",
    ),
    (
        "{day} is still to come: today is {today:day}",
        "el {day} aún no llega: hoy es {today}",
    ),
    (
        "must be at least 1; leave it out where nobody told how many",
        "debe ser al menos 1; déjelo vacío si nadie dijo cuántas",
    ),
    // A price list.
    (
        "the list has no presentation",
        "la lista no tiene ninguna forma de pescado",
    ),
    ("{form:term}, grade {grade:code}", "{form}, calidad {grade}"),
    (
        "{form:term} is in the list twice",
        "{form} está dos veces en la lista",
    ),
    (
        "{form:term} has no grade",
        "{form} no tiene ninguna calidad",
    ),
    (
        "{form:term} has grade {grade:code} twice",
        "{form} tiene dos veces la calidad {grade}",
    ),
    ("{at:said} has no bands", "{at} no tiene bandas"),
    (
        "{at:said}: the first band begins at {from:weight}, not at zero",
        "{at}: la primera banda empieza en {from}, no en cero",
    ),
    (
        "{at:said}: nothing is paid from {from:weight} to {next:weight}",
        "{at}: no se paga nada desde {from} hasta {next}",
    ),
    (
        "{at:said}: two bands cover {next:weight} to {to:weight}",
        "{at}: dos bandas cubren desde {next} hasta {to}",
    ),
    (
        "{at:said}: the band from {from:weight} to {to:weight} is empty",
        "{at}: la banda desde {from} hasta {to} está vacía",
    ),
    (
        "{at:said}: the band from {from:weight} has no end, and is not the last",
        "{at}: la banda desde {from} no acaba, y no es la última",
    ),
    (
        "{at:said}: the last band ends at {to:weight}; it must have no end",
        "{at}: la última banda acaba en {to}; no debe acabar",
    ),
    (
        "{form:term}: the plate minimum must be above zero",
        "{form}: el mínimo de plato debe ser mayor que cero",
    ),
    (
        "{at:said}: the plate minimum {least:weight} is not an edge",
        "{at}: el mínimo de plato {least} no es un límite de banda",
    ),
    (
        "{at:said}: a price is negative: {price:name}",
        "{at}: un precio es negativo: {price}",
    ),
    (
        "{condition:term} has two adjustments",
        "{condition} tiene dos ajustes",
    ),
    // At the table.
    (
        "takes nothing: name at least one input",
        "no lleva nada: nombre al menos una entrada",
    ),
    (
        "gives nothing: name at least one output",
        "no da nada: nombre al menos una salida",
    ),
    (
        "input {n} has no weight; only a pool takes all that is left by the book",
        "la entrada {n} no tiene peso; solo una mezcla lleva todo lo que queda según el libro",
    ),
    (
        "input {n} names a part or dispatch that is named before",
        "la entrada {n} nombra una fracción o entrega que ya está nombrada",
    ),
    ("a cut names a cutter", "un corte dice quién cortó"),
    (
        "a cut names a specification",
        "un corte dice a qué se cortó",
    ),
    (
        "output {n} has no weight; say that it was not weighed, or weigh it",
        "la salida {n} no tiene peso; diga que no se pesó, o pésela",
    ),
    (
        "output {n} has a weight and is said to be not weighed",
        "la salida {n} tiene peso y dice que no se pesó",
    ),
    (
        "output {n} is thrown out without a reason",
        "la salida {n} se tira sin motivo",
    ),
    (
        "weighs more than can be kept",
        "pesa más de lo que se puede anotar",
    ),
    (
        "nothing is left of part {part:code}",
        "no queda nada de la fracción {part}",
    ),
    (
        "part {part:code} is held: it goes nowhere until the hold is released, or it is thrown out",
        "la fracción {part} está retenida: no va a ninguna parte hasta que se libere, o se tira",
    ),
    (
        "the ticket of lot {lot:code} was voided",
        "el boleto del lote {lot} fue anulado",
    ),
    (
        "lot {lot:code} has {n} open parts: name one",
        "el lote {lot} tiene {n} fracciones abiertas: nombre una",
    ),
    (
        "this lot is of site {site:n}",
        "este lote es del sitio {site}",
    ),
    (
        "one making is of one species",
        "un corte es de una sola especie",
    ),
    (
        "this dispatch mixed kinds of fish",
        "esta entrega mezcló clases de pescado",
    ),
    // What is not there.
    (
        "there is no lot \"{id:name}\"",
        "no hay ningún lote \"{id}\"",
    ),
    (
        "there is no part \"{id:name}\"",
        "no hay ninguna fracción \"{id}\"",
    ),
    (
        "there is no room \"{id:name}\"",
        "no hay ningún lugar \"{id}\"",
    ),
    (
        "there is no party \"{id:name}\"",
        "no hay nadie con el código \"{id}\"",
    ),
    // Disputes, the plan, keys.
    (
        "the diver was there and confirmed the ticket: name the line that is disputed",
        "el buzo estaba y confirmó el boleto: nombre la línea que se disputa",
    ),
    (
        "it could be disputed until {until:name}",
        "se podía disputar hasta {until}",
    ),
    (
        "fish, rooms or choices have changed since this plan was looked at: look at it again",
        "el pescado, los lugares o las decisiones cambiaron desde que se miró este plan: mírelo otra vez",
    ),
    ("this key was already revoked", "esta llave ya fue revocada"),
    (
        "a {role:term} sees what is their own: name the party",
        "un {role} ve lo suyo: diga de quién es la llave",
    ),
];
