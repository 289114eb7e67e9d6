//! Cautions, warnings and questions of tickets, movements, cuts and price lists.
//!
//! Cautions say what can hurt somebody: they are put into Spanish as exactly as they are
//! said in English, and defer to local codes as the English does.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    // Cautions.
    (
        "{names:name}: the spines stay venomous after the fish is dead. For a sting: hot water, as hot as can be borne without scalding, and medical help. This is not medical advice.",
        "{names}: las espinas siguen siendo venenosas después de muerto el pez. Si hay pinchazo: agua caliente, tanto como se aguante sin quemarse, y atención médica. Esto no es consejo médico.",
    ),
    (
        "{names:name}: may carry ciguatera, and cooking does not remove the toxin. Fish from an area on the site's own list of areas of concern is refused, and held only while the area is unclear. The list is the buyer's to keep: an area that is not on it is not known to be safe.",
        "{names}: puede llevar ciguatera, y cocinar no elimina la toxina. El pescado de un área de la lista de áreas de riesgo del sitio se rechaza, y solo se retiene mientras el área no esté clara. La lista es del comprador: un área que no está en ella no se sabe segura.",
    ),
    (
        "Fish above the site's limit (41 F / 5 C where it has set none) when it leaves goes to nobody; if it came in warmer, ice it, probe it again and record what was done.",
        "El pescado por encima del límite del sitio (41 F / 5 C si no hay otro) al salir no va a nadie; si llegó más caliente, póngalo en hielo, mídalo otra vez y anote lo que se hizo.",
    ),
    (
        "Allergen: fish ({names:name}). Say so on whatever leaves for a kitchen or a recipient.",
        "Alérgeno: pescado ({names}). Dígalo en todo lo que salga para una cocina o un beneficiario.",
    ),
    (
        "Donate only apparently wholesome food; local health rules still apply.",
        "Done solo alimento en aparente buen estado; rigen además las normas sanitarias locales.",
    ),
    (
        "All of this defers to local codes, and to licensed or trained people: they come first.",
        "Todo esto cede ante las normas locales y ante personas con licencia o formación: ellas van primero.",
    ),
    // Which reading of a weighing.
    ("gross", "bruto"),
    ("tare", "tara"),
    ("posted tare", "tara fijada"),
    ("fish {n}", "pez {n}"),
    // Questions.
    (
        "Lot {lot:n}, weighing {weighing:n}: {n} fish at {weight}, close to the plate minimum of {edge:weight} each. Cull the small ones?",
        "Lote {lot}, pesada {weighing}: {n} peces con {weight}, cerca del mínimo de plato de {edge} cada uno. ¿Separar los pequeños?",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: the mean fish of {weight} would be {shortest:n} to {longest:n} mm long by every published relation, and a fish of {least:n} to {most:n} mm is believed. Is it this long, or is the count or the reading wrong?",
        "Lote {lot}, pesada {weighing}: el pez medio de {weight} mediría de {shortest} a {longest} mm según todas las relaciones publicadas, y se cree un pez de {least} a {most} mm. ¿Es así de largo, o está mal la cuenta o la lectura?",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: the mean fish is {weight}, lighter than the {least:weight} on file for {species:name}. Is the count or the reading wrong?",
        "Lote {lot}, pesada {weighing}: el pez medio es de {weight}, más ligero que los {least} que constan para {species}. ¿Está mal la cuenta o la lectura?",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: the mean fish is {weight}, heavier than the {most:weight} on file for {species:name}. Is the count or the reading wrong?",
        "Lote {lot}, pesada {weighing}: el pez medio es de {weight}, más pesado que los {most} que constan para {species}. ¿Está mal la cuenta o la lectura?",
    ),
    (
        "Lot {lot:n}: the mean fish is {weight}; the middle of the last {lots:n} lots here is {median:weight}. {question:said}",
        "Lote {lot}: el pez medio es de {weight}; la mediana de los últimos {lots} lotes aquí es de {median}. {question}",
    ),
    ("Is the count right?", "¿Está bien la cuenta?"),
    (
        "Were pounds keyed as kilograms?",
        "¿Se escribieron libras como kilogramos?",
    ),
    (
        "Were kilograms keyed as pounds?",
        "¿Se escribieron kilogramos como libras?",
    ),
    // Warnings about readings.
    (
        "Lot {lot:n}, weighing {weighing:n}: no scale is named, so the ice allowance was rounded down to {step:weight} and not to a scale's division.",
        "Lote {lot}, pesada {weighing}: no se nombra ninguna báscula, así que el descuento por hielo se redondeó hacia abajo a {step} y no a la división de una báscula.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: {n} pieces is an estimate; it bands the fish and stays out of statistics.",
        "Lote {lot}, pesada {weighing}: {n} piezas es una cuenta a ojo; sirve para hallar la banda y queda fuera de las estadísticas.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: {weight} is less than the {least:weight} that a class {class:name} scale of {division:weight} should weigh at least (scale {scale:code}). Weigh more at once, or on a finer scale.",
        "Lote {lot}, pesada {weighing}: {weight} es menos que los {least} que debe pesar como mínimo una báscula de clase {class} de {division} (báscula {scale}). Pese más de una vez, o en una báscula más fina.",
    ),
    (
        "So are {n} of the fish here.",
        "Lo mismo vale para {n} de los peces de aquí.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: no day is on file on which the tare of tote {tote:name} was weighed.",
        "Lote {lot}, pesada {weighing}: no consta ningún día en que se pesara la tara de la caja {tote}.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}: the tare of tote {tote:name} was last weighed on {weighed:day}, {days:n} days ago; it is weighed again within {most:n} days.",
        "Lote {lot}, pesada {weighing}: la tara de la caja {tote} se pesó por última vez el {weighed}, hace {days} días; se pesa otra vez cada {most} días como máximo.",
    ),
    (
        "No test of scale {scale:code} is on file: how far it is off is not known.",
        "No consta ninguna verificación de la báscula {scale}: no se sabe cuánto se desvía.",
    ),
    (
        "No accuracy class is on file for scale {scale:code} that is one of I, II, III, III L or IIII: its least load is not known.",
        "No consta para la báscula {scale} una clase de exactitud que sea I, II, III, III L o IIII: no se sabe su carga mínima.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}, {reading:said}: {weight} is no step of {division:weight} of scale {scale:code}.",
        "Lote {lot}, pesada {weighing}, {reading}: {weight} no es un paso de {division} de la báscula {scale}.",
    ),
    (
        "Lot {lot:n}, weighing {weighing:n}, {reading:said}: {weight} is above the {most:weight} that scale {scale:code} weighs.",
        "Lote {lot}, pesada {weighing}, {reading}: {weight} es más que los {most} que pesa la báscula {scale}.",
    ),
    // Warnings about a whole ticket.
    (
        "The adjustments are more than the lines; {money} of them was cut, so that 0.00 is paid.",
        "Los ajustes son más que las líneas; se recortaron {money} de ellos, para que se pague 0.00.",
    ),
    (
        "The diver was shown {shown:money} without signal, which binds; worked out it is {money}.",
        "Al buzo se le mostró {shown} sin señal, y eso vale; calculado es {money}.",
    ),
    (
        "Line {line:n} was released before the ticket was written again: {money} of its pay is owed.",
        "La línea {line} se liberó antes de reescribir el boleto: se deben {money} de su pago.",
    ),
    (
        "The sender's clock is {seconds:n} s behind the book's.",
        "El reloj de quien envía va {seconds} s por detrás del reloj del libro.",
    ),
    (
        "The sender's clock is {seconds:n} s ahead of the book's.",
        "El reloj de quien envía va {seconds} s por delante del reloj del libro.",
    ),
    (
        "Lot {lot:n}: {tallied:n} fish were tallied and {weighed:n} were weighed in.",
        "Lote {lot}: se contaron {tallied} peces en el registro y se pesaron {weighed}.",
    ),
    (
        "Fish of lot {lots:name} has gone somewhere already. What moved stays as it was written; a part that is not on this ticket any more goes below zero and is flagged.",
        "Ya salió pescado del lote {lots}. Lo que se movió queda como se escribió; una fracción que ya no está en este boleto queda por debajo de cero y se avisa.",
    ),
    // Warnings about what leaves, is cut or is probed.
    (
        "More left part {part:code} than the book says was there; it is booked and will be flagged.",
        "Salió más de la fracción {part} de lo que había según el libro; queda anotado y se avisará.",
    ),
    (
        "More came off the table than went on it: rinse water, or a missing input. It is booked and will be flagged.",
        "Salió de la mesa más de lo que entró: agua de enjuague, o una entrada sin anotar. Queda anotado y se avisará.",
    ),
    (
        "{planned:weight} was planned for {room:name} and {went:weight} went; the night says so.",
        "Estaban previstos {planned} para {room} y fueron {went}; el cierre de la noche lo dirá.",
    ),
    (
        "{room:name} was changed since the plan was taken. It takes no more.",
        "{room} cambió desde que se tomó el plan. Ya no recibe más.",
    ),
    (
        "{room:name} was changed since the plan was taken. It is for {weight} now.",
        "{room} cambió desde que se tomó el plan. Ahora es para {weight}.",
    ),
    (
        "No temperature was taken as it left; the limit is {limit:reading}.",
        "No se tomó la temperatura al salir; el límite es {limit}.",
    ),
    (
        "{warmest:reading} is still above {limit:reading}: hold lot {lot:code}, and ice it. It goes to nobody until it is cold.",
        "{warmest} está todavía por encima de {limit}: retenga el lote {lot} y póngalo en hielo. No va a nadie hasta que esté frío.",
    ),
    // Warnings about price lists.
    (
        "The lowest edge {edge:weight} is under {divisions:n} divisions of {division:weight} of scale {scale:code}.",
        "El límite más bajo, {edge}, es menos que {divisions} divisiones de {division} de la báscula {scale}.",
    ),
    (
        "These days have more tickets than are priced again: only the first {most:n} were looked at, and the sums are of those. Ask for fewer days.",
        "Estos días tienen más boletos de los que se calculan otra vez: solo se miraron los primeros {most}, y las sumas son de esos. Pida menos días.",
    ),
];
