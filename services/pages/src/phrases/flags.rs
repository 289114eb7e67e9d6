//! Texts of flags, what they rest on, and what a close's figures leave out.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    // A part, as flags name it.
    (
        "{species:code} {form:term} of {supplier:name}, {part:code}",
        "{species} {form} de {supplier}, {part}",
    ),
    (
        "{species:code} {form:term}, {part:code}",
        "{species} {form}, {part}",
    ),
    ("scale {scale:code}", "báscula {scale}"),
    // Unaccounted weight.
    (
        "Probably swapped: {short:weight} is missing in {there:said}, and {long:weight} is too much in {here:said}. {explained:said}",
        "Probablemente cambiados: faltan {short} en {there} y sobran {long} en {here}. {explained}",
    ),
    (
        "{weight} missing over the whole site, of {all:weight} handled. {explained:said}",
        "Faltan {weight} en todo el sitio, de {all} manejados. {explained}",
    ),
    (
        "{weight} too much over the whole site, of {all:weight} handled. {explained:said}",
        "Sobran {weight} en todo el sitio, de {all} manejados. {explained}",
    ),
    (
        "{weight} missing in {part:said}: {stood:said}, {drip:weight} should have dripped and {found:weight} was found. {explained:said}",
        "Faltan {weight} en {part}: {stood}, debían escurrir {drip} y se hallaron {found}. {explained}",
    ),
    (
        "{weight} too much in {part:said}: {stood:said}, {drip:weight} should have dripped and {found:weight} was found. {explained:said}",
        "Sobran {weight} en {part}: {stood}, debían escurrir {drip} y se hallaron {found}. {explained}",
    ),
    ("of {weight} on the book", "de {weight} según el libro"),
    (
        "{weight} more had gone out than was on the book",
        "habían salido {weight} más de lo que había en el libro",
    ),
    (
        "Scales, water and drip explain {width}.",
        "Las básculas, el agua y el escurrimiento explican {width}.",
    ),
    (
        "What scales, water and drip explain is not known: {why:said}. Judged by the site's limits alone.",
        "No se sabe lo que explican las básculas, el agua y el escurrimiento: {why}. Se juzga solo con los límites del sitio.",
    ),
    // Why a budget is not known: one reason or several.
    ("{first:said}, and {rest:said}", "{first}, y {rest}"),
    (
        "it was weighed before this was worked out",
        "se pesó antes de que esto se calculara",
    ),
    (
        "a reading names no scale",
        "una lectura no dice de qué báscula es",
    ),
    (
        "{scale:known} wants a test",
        "{scale} necesita una verificación",
    ),
    // The table.
    (
        "{weight} more came out of the {kind:term} {making:n} than the {input:weight} that went in: rinse water, or a missing input. {explained:said}",
        "De la elaboración {making} ({kind}) salieron {weight} más que los {input} que entraron: agua de enjuague, o una entrada sin anotar. {explained}",
    ),
    (
        "{weight} of the {input:weight} in the {kind:term} {making:n} is unaccounted at the table, beyond {loss:weight} of cutting loss. {explained:said}",
        "De los {input} de la elaboración {making} ({kind}), {weight} quedan sin explicar en la mesa, además de {loss} de merma del corte. {explained}",
    ),
    // Parts.
    (
        "{weight} more went out of {part:said} than was in it: a missing entry, or a wrong part.",
        "Salieron {weight} más de {part} de lo que había: falta una anotación, o la fracción no es esa.",
    ),
    (
        "{weight} went out of {part:said} after it was finished; it is open again.",
        "Salieron {weight} de {part} cuando ya se había acabado; está abierta otra vez.",
    ),
    (
        "{weight} of {part:said} is held for more than {days:said}: release it or throw it out.",
        "{weight} de {part} llevan retenidos más de {days}: libérelos o tírelos.",
    ),
    (
        "{weight} of {part:said} by the book was not counted for this day.",
        "Este día no se contaron {weight} de {part} que hay según el libro.",
    ),
    (
        "{weight} of {part:said} is {age:said} old; {what:said} is looked at after {limit:said}.",
        "{weight} de {part} tienen {age}; {what} se revisa después de {limit}.",
    ),
    (
        "Ask somebody who knows whether it can still be sold at all.",
        "Pregunte a alguien que sepa si todavía se puede vender.",
    ),
    ("{n} hours", "{n} horas"),
    ("fish on ice", "el pescado en hielo"),
    ("fresh fillet", "el filete fresco"),
    ("fish for donation", "el pescado para donación"),
    ("soup-grade fish", "el pescado para sopa"),
    // Devices, disputes, tickets.
    (
        "Device {device:name} said it holds {n} more than has come in.",
        "El dispositivo {device} dijo que tiene {n} anotaciones más de las que llegaron.",
    ),
    (
        "Ticket {ticket:n} is disputed ({dispute:n}) and nobody has answered.",
        "El boleto {ticket} tiene un reclamo ({dispute}) y nadie ha contestado.",
    ),
    (
        "Line {line:n} of ticket {ticket:n} is disputed ({dispute:n}) and nobody has answered.",
        "La línea {line} del boleto {ticket} tiene un reclamo ({dispute}) y nadie ha contestado.",
    ),
    (
        "Ticket {ticket:n} was confirmed without signal at a payout that differs by {money} from the list in force.",
        "El boleto {ticket} se confirmó sin señal con un pago que difiere en {money} de la lista vigente.",
    ),
    (
        "The clock of the device that wrote ticket {ticket:n} was off.",
        "El reloj del dispositivo que escribió el boleto {ticket} no iba bien.",
    ),
    // Cold.
    (
        "Lot {lot:code} of ticket {ticket:n} was to be shown cold by {due:name}, and no probe in time was; {read:said}. {what:said}; the local code decides what may become of it.",
        "El lote {lot} del boleto {ticket} debía mostrarse frío a más tardar el {due}, y ninguna sonda a tiempo lo mostró; {read}. {what}; las normas locales deciden qué se puede hacer con él.",
    ),
    ("no temperature was taken", "no se tomó ninguna temperatura"),
    (
        "it was at {reading} when it was probed again",
        "estaba a {reading} cuando se midió otra vez",
    ),
    (
        "it was at {reading} as it came in",
        "estaba a {reading} al llegar",
    ),
    (
        "Nothing is left of it: find where it went",
        "No queda nada: averigüe a dónde fue",
    ),
    ("Hold it and probe it", "Reténgalo y mídalo"),
    // Scales.
    (
        "{second:known} weighs {number} % less than {first:known} (95 %: {low:number} to {high:number} %), by {pairs:n} pairs of fish weighed on both within {days:n} days. Which of them is wrong cannot be known from this: have both tested.",
        "{second} pesa {number} % menos que {first} (95 %: de {low} a {high} %), según {pairs} pares de pescado pesado en ambas en {days} días. De esto no se puede saber cuál está mal: haga verificar las dos.",
    ),
    (
        "{second:known} weighs {number} % more than {first:known} (95 %: {low:number} to {high:number} %), by {pairs:n} pairs of fish weighed on both within {days:n} days. Which of them is wrong cannot be known from this: have both tested.",
        "{second} pesa {number} % más que {first} (95 %: de {low} a {high} %), según {pairs} pares de pescado pesado en ambas en {days} días. De esto no se puede saber cuál está mal: haga verificar las dos.",
    ),
    (
        "{entry:n}: {then:weight} on {first:known}, {again:weight} on {second:known}",
        "{entry}: {then} en {first}, {again} en {second}",
    ),
    // Yields.
    (
        "Fish of {supplier:name}, {species:code} {form:term} to {specification:name}: {says:said}. It changes nobody's pay.",
        "Pescado de {supplier}, {species} {form} a {specification}: {says}. No cambia el pago de nadie.",
    ),
    (
        "yield less that of the others, points: {points:said}",
        "rendimiento menos el de los otros, puntos: {points}",
    ),
    (
        "of that, other bands: {points:said}",
        "de eso, otras bandas: {points}",
    ),
    (
        "of that, condition: {points:said}",
        "de eso, el estado: {points}",
    ),
    (
        "of that, who cut it: {points:said}",
        "de eso, quién lo cortó: {points}",
    ),
    (
        "of that, which kitchen: {points:said}",
        "de eso, en qué cocina: {points}",
    ),
    ("what is left: {points:said}", "lo que queda: {points}"),
    (
        "Yield of {follows:term} {party:name}: {says:said}.",
        "Rendimiento, {follows} {party}: {says}.",
    ),
    (
        "latest cuts, in deviations of the baseline: {values:name}",
        "últimos cortes, en desviaciones de la línea base: {values}",
    ),
    // Small fish and plans.
    (
        "{weight} of {part:said} has no place, and is too old for soup and donation from {when:name} on.",
        "{weight} de {part} no tienen lugar, y desde {when} son demasiado viejos para sopa y donación.",
    ),
    (
        "{weight} of {part:said} was promised and planned for {room:name}, and nothing went.",
        "{weight} de {part} se prometieron y se previeron para {room}, y no fue nada.",
    ),
    (
        "{weight} of {part:said} went to {room:name}, {difference:weight} less than the {planned:weight} planned.",
        "{weight} de {part} fueron a {room}, {difference} menos que los {planned} previstos.",
    ),
    (
        "{weight} of {part:said} went to {room:name}, {difference:weight} more than the {planned:weight} planned.",
        "{weight} de {part} fueron a {room}, {difference} más que los {planned} previstos.",
    ),
    // A budget, line by line.
    (
        "{scale:known} on {day}, shared: {width}",
        "{scale} el {day}, en común: {width}",
    ),
    (
        "drip of {species:code} {form:term}, {storage:term}: {width}",
        "escurrimiento de {species} {form}, {storage}: {width}",
    ),
    (
        "rounding of 1 reading: {width}",
        "redondeo de 1 lectura: {width}",
    ),
    (
        "rounding of {n} readings: {width}",
        "redondeo de {n} lecturas: {width}",
    ),
    (
        "surface water, 1 weighing: {width}",
        "agua en la superficie, 1 pesada: {width}",
    ),
    (
        "surface water, {n} weighings: {width}",
        "agua en la superficie, {n} pesadas: {width}",
    ),
    (
        "wet totes, 1 tote: {width}",
        "cajas mojadas, 1 caja: {width}",
    ),
    (
        "wet totes, {n} totes: {width}",
        "cajas mojadas, {n} cajas: {width}",
    ),
    (
        "all together: {width} (k = 2)",
        "todo junto: {width} (k = 2)",
    ),
    (
        "all together: not known; {why:said}",
        "todo junto: no se sabe; {why}",
    ),
    // What the figures of a close leave out.
    (
        "What scales, water and drip explain is not known everywhere: {why:said}. There the site's limits alone judge.",
        "No se sabe en todas partes lo que explican las básculas, el agua y el escurrimiento: {why}. Ahí juzgan solo los límites del sitio.",
    ),
    (
        "Drip is not set for {species:code} {form:term}, {storage:said}: it counts as 0.",
        "El escurrimiento no está fijado para {species} {form}, {storage}: cuenta como 0.",
    ),
    ("storage not said", "sin decir cómo se guarda"),
    (
        "{parts:said} no count: neither drip nor unaccounted weight is posted there.",
        "{parts} conteo: ahí no se anota ni escurrimiento ni peso sin explicar.",
    ),
    ("1 open part has", "1 fracción abierta no tiene"),
    ("{n} open parts have", "{n} fracciones abiertas no tienen"),
    (
        "{money} of fish thrown out for a cause after hand-over stays paid: the buyer's loss.",
        "{money} de pescado tirado por una causa posterior a la entrega quedan pagados: es pérdida del comprador.",
    ),
    (
        "The cost of fish leaves out price adjustments of tickets.",
        "El costo del pescado no incluye los ajustes de precio de los boletos.",
    ),
    (
        "Device {device:name} asked for {numbers:n} lot numbers ahead ({entry:n}): tickets of this day bear {used:n}, {unused:n} are unused.",
        "El dispositivo {device} pidió {numbers} números de lote por adelantado ({entry}): los boletos de este día llevan {used}, y {unused} están sin usar.",
    ),
    (
        "Tickets of this day bear {used:n} of the {numbers:n} lot numbers that device {device:name} asked for earlier ({entry:n}).",
        "Los boletos de este día llevan {used} de los {numbers} números de lote que el dispositivo {device} pidió antes ({entry}).",
    ),
    (
        "{numbers:n} lot numbers were asked for ahead: tickets of this day bear {used:n}, {unused:n} are unused ({each:said}).",
        "Se pidieron {numbers} números de lote por adelantado: los boletos de este día llevan {used}, y {unused} están sin usar ({each}).",
    ),
    (
        "Tickets of this day bear {used:n} of {numbers:n} lot numbers asked for earlier ({each:said}).",
        "Los boletos de este día llevan {used} de {numbers} números de lote pedidos antes ({each}).",
    ),
    (
        "{used:n} of {numbers:n} by device {device:code}, {entry:n}",
        "{used} de {numbers} por el dispositivo {device}, {entry}",
    ),
    (
        "{used:n} of {numbers:n} by device {device:code}, {entry:n}; {rest:said}",
        "{used} de {numbers} por el dispositivo {device}, {entry}; {rest}",
    ),
];
