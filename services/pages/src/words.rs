//! The words of the pages, in English and Spanish.
//!
//! One table: a word that lacks a language does not compile. What people wrote, names
//! and reasons, stays in their words. Sentences that the rules wrote down are put into
//! Spanish by the phrases of [`crate::phrases`].

use rules::key::Role;
use rules::ticket::Notice;

use crate::phrases;

/// A language of the pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Language {
    English,
    Spanish,
}

/// A sentence, and whether it is in the page's language; where not it is in English.
pub(crate) type Said = (String, bool);

impl Language {
    pub(crate) const ALL: [Language; 2] = [Language::English, Language::Spanish];

    /// ISO 639-1.
    pub(crate) const fn code(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
        }
    }

    /// As it calls itself.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
        }
    }

    pub(crate) fn of_code(code: &str) -> Option<Language> {
        Language::ALL
            .into_iter()
            .find(|language| language.code() == code)
    }

    pub(crate) fn words(self) -> &'static Words {
        match self {
            Language::English => &ENGLISH,
            Language::Spanish => &SPANISH,
        }
    }

    /// A trade word of the rules, such as "gutted", in this language; itself where
    /// there is none for it.
    pub(crate) fn term(self, english: &'static str) -> &'static str {
        match self {
            Language::English => english,
            Language::Spanish => spanish_term(english).unwrap_or(english),
        }
    }

    /// A sentence that the rules wrote down, or a trade word, and whether it is in this
    /// language; what has no Spanish is said in English.
    pub(crate) fn sentence(self, english: &str) -> Said {
        if self == Language::English || english.is_empty() {
            return (english.to_owned(), true);
        }
        let term = spanish_term(english).map(str::to_owned);
        match term.or_else(|| phrases::spanish(english)) {
            Some(spanish) => (spanish, true),
            None => (english.to_owned(), false),
        }
    }

    /// Several of them, with a bar between.
    pub(crate) fn terms(self, all: impl Iterator<Item = &'static str>) -> String {
        let all: Vec<_> = all.map(|english| self.term(english)).collect();
        all.join("|")
    }

    /// What a notice says, and whether that is in this language.
    pub(crate) fn notice(self, notice: &Notice) -> Said {
        self.sentence(&notice.text)
    }

    /// Who did something, as the book has it: `diver wren-haldane (phone)`.
    pub(crate) fn actor(self, name: &str) -> String {
        let (role, rest) = name.split_at(name.find(' ').unwrap_or(name.len()));
        match Role::from_word(role) {
            Some(role) => format!("{}{rest}", self.term(role.word())),
            None => name.to_owned(),
        }
    }

    /// What people wrote, kept as it is; what the rules wrote where nobody wrote
    /// anything is put into this language.
    pub(crate) fn known(self, words: &str) -> String {
        let spanish = match self {
            Language::English => None,
            Language::Spanish => phrases::spanish(words),
        };
        spanish.unwrap_or_else(|| words.to_owned())
    }
}

/// A trade word of the rules in Spanish.
pub(crate) fn spanish_term(english: &str) -> Option<&'static str> {
    let found = TERMS.iter().find(|(term, _)| *term == english);
    found.map(|(_, spanish)| *spanish)
}

/// Trade words of the rules, and the Spanish for them.
const TERMS: &[(&str, &str)] = &[
    ("whole", "entero"),
    ("spines clipped", "sin espinas"),
    ("gutted", "eviscerado"),
    ("gutted and headed", "eviscerado sin cabeza"),
    ("fillet skin-on", "filete con piel"),
    ("fillet skinless", "filete sin piel"),
    ("trim", "recortes"),
    ("frames", "espinazos"),
    ("roe", "huevas"),
    ("other", "otro"),
    ("clean", "limpio"),
    ("body", "tiro al cuerpo"),
    ("torn", "desgarrado"),
    ("drained ice", "hielo escurrido"),
    ("dry cooler", "nevera seca"),
    ("slush", "hielo con agua"),
    ("frozen", "congelado"),
    ("sold whole", "venta entero"),
    ("soup-grade", "sopa"),
    ("donation", "donación"),
    ("gift", "regalo"),
    ("crew use", "consumo propio"),
    ("by-product", "subproducto"),
    ("discard", "descarte"),
    ("sample", "muestra"),
    ("refused", "rechazado"),
    ("taken home", "se lo lleva el buzo"),
    ("by diver", "por el buzo"),
    ("diver absent", "buzo ausente"),
    ("buyer", "comprador"),
    ("diver", "buzo"),
    ("kitchen", "cocina"),
    ("supplier", "proveedor"),
    ("cutter", "cortador"),
    ("office", "oficina"),
    ("auditor", "auditor"),
    ("harvester", "buzo"),
    ("payee", "cobrador"),
    ("recipient", "beneficiario"),
    ("staff", "personal"),
    ("ticket", "boleto"),
    ("rewritten ticket", "boleto reescrito"),
    ("void", "anulación"),
    ("hold", "retención"),
    ("release", "liberación"),
    ("discarded", "descartado"),
    ("settlement", "liquidación"),
    ("advance", "anticipo"),
    ("charge", "cargo"),
    ("weighed in", "pesado al entrar"),
    ("weighed again", "pesado otra vez"),
    ("regrade", "reclasificación"),
    ("came back", "devuelto"),
    ("used in a making", "usado en una elaboración"),
    ("made", "elaborado"),
    ("counted", "contado"),
    ("legal length", "talla legal"),
    ("season", "temporada"),
    ("trip limit", "límite por salida"),
    ("area", "área"),
    ("cold", "frío"),
    ("probes", "sondas"),
    ("histamine", "histamina"),
    ("passed", "cumple"),
    ("failed", "no cumple"),
    ("not set", "sin fijar"),
    ("not known", "no se sabe"),
    ("sell", "vender"),
    ("give", "regalar"),
    ("take home", "llevar a casa"),
    ("accept", "aceptar"),
    ("refuse", "rechazar"),
    ("closed", "cerrado"),
    ("closed with gaps", "cerrado con huecos"),
    ("cut", "corte"),
    ("dress", "limpieza"),
    ("pool", "mezcla"),
    ("freeze", "congelación"),
    ("customer cut", "corte de cliente"),
    ("taken back", "retirado"),
    ("soup order", "pedido de sopa"),
    ("freezer", "congelador"),
    ("table", "mesa"),
    ("pin", "va ahí"),
    ("forbid", "no va ahí"),
    ("free", "libre"),
    ("held", "retenido"),
    ("temperature", "temperatura"),
    ("age", "edad"),
    ("hazard", "riesgo"),
    ("condition", "estado"),
    ("spines", "espinas"),
    ("cold storage", "frío del beneficiario"),
    ("recall contact", "contacto para retiradas"),
    ("not food", "no es alimento"),
    ("species", "especie"),
    ("form", "forma"),
    ("window", "hora"),
    ("piece weight", "peso por pez"),
    ("ended", "terminado"),
    ("currency", "efectivo"),
    ("cashier's check", "cheque de caja"),
    ("bank draft", "giro bancario"),
    ("traveler's check", "cheque de viajero"),
    ("money order", "giro postal"),
    ("personal check", "cheque personal"),
    ("business check", "cheque de empresa"),
    ("transfer", "transferencia"),
];

macro_rules! words {
    ($($key:ident: $english:literal, $spanish:literal;)+) => {
        /// Every word of the pages in one language.
        #[derive(Debug)]
        pub(crate) struct Words {
            $(pub(crate) $key: &'static str,)+
        }

        static ENGLISH: Words = Words { $($key: $english,)+ };
        static SPANISH: Words = Words { $($key: $spanish,)+ };

        /// Each with its name.
        #[cfg(test)]
        const ALL: &[(&str, &str, &str)] = &[$((stringify!($key), $english, $spanish),)+];
    };
}

words! {
    skip: "Skip to the page", "Ir al contenido";
    menu: "Pages", "Páginas";
    language: "Language", "Idioma";
    unit: "Weights in", "Pesos en";
    site: "Site", "Sitio";
    simulated: "This book has a simulated clock: nothing in it happened.", "Este libro tiene un reloj simulado: nada de él ocurrió.";
    sign_in: "Sign in", "Entrar";
    sign_out: "Sign out", "Salir";
    signed_in_as: "Signed in as", "Ha entrado como";
    your_key: "Your key", "Su llave";
    key_hint: "It begins with whkey_ and the office gave it to you. Nobody else should see it.", "Empieza por whkey_ y se la dio la oficina. Nadie más debe verla.";
    no_key_yet: "No key? Ask the office for a link that signs you in once.", "¿No tiene llave? Pida a la oficina un enlace para entrar una vez.";
    key_opens_nothing: "This key opens nothing. Look whether all of it is there, or ask the office.", "Esta llave no abre nada. Mire si está entera o pregunte a la oficina.";
    link_title: "Sign in with your link", "Entrar con su enlace";
    link_hint: "The link works once. Press the button on the phone or computer you want to use.", "El enlace sirve una vez. Pulse el botón en el teléfono o computador que quiere usar.";
    link_opens_nothing: "This link has been used or has run out. Ask the office for another.", "Este enlace ya se usó o venció. Pida otro a la oficina.";
    too_many_tries: "Too many tries at once. Wait a moment and try again.", "Demasiados intentos a la vez. Espere un momento y pruebe de nuevo.";
    home: "Weighhouse", "Weighhouse";
    home_hint: "What this key reaches:", "Lo que abre esta llave:";
    my_tickets: "My tickets", "Mis boletos";
    tickets: "Tickets", "Boletos";
    ticket: "Ticket", "Boleto";
    statement: "Statement", "Estado de cuenta";
    my_statement: "My statement", "Mi cuenta";
    components: "The look", "El aspecto";
    from: "From", "Desde";
    to_before: "To, not with it", "Hasta, sin incluirlo";
    show: "Show", "Mostrar";
    day: "Day", "Día";
    diver: "Diver", "Buzo";
    net: "Net", "Neto";
    gross: "Gross", "Bruto";
    tare: "Tare", "Tara";
    ice: "Ice", "Hielo";
    payout: "Payout", "A pagar";
    your_share: "Your share", "Su parte";
    state: "State", "Estado";
    no_tickets: "No tickets in these days.", "No hay boletos en estos días.";
    voided: "voided", "anulado";
    rewritten: "rewritten", "reescrito";
    stands: "stands", "vale";
    held: "held, not owed yet", "retenido, aún no se debe";
    owed: "owed", "se debe";
    recorded: "Recorded", "Anotado";
    prices_as_of: "Prices as of", "Precios de";
    confirmed: "Confirmed", "Confirmado";
    landed: "Landed", "Desembarque";
    ended_by: "Ended by", "Terminado por";
    in_place_of: "In place of", "En lugar de";
    reason: "Reason", "Motivo";
    weighed: "Weighed", "Pesado";
    lot: "Lot", "Lote";
    no_code: "no code: none of it was bought", "sin código: no se compró nada";
    line: "Line", "Línea";
    band: "Band", "Banda";
    band_up: "and over", "o más";
    band_under: "to under", "a menos de";
    not_counted: "not counted", "sin contar";
    price: "Price", "Precio";
    list_price: "List price", "Precio de lista";
    agreed_price: "Agreed price", "Precio acordado";
    amount: "Amount", "Importe";
    grade: "Grade", "Calidad";
    fish: "Fish", "Pescado";
    pieces: "Fish counted", "Peces contados";
    about: "about", "unos";
    tote: "tote", "caja";
    one_by_one: "one by one", "uno a uno";
    tared: "tared on the scale", "tarado en la báscula";
    as_read: "As read", "Como se leyó";
    how_paid: "How the payout came about", "Cómo salió el pago";
    sum_of_lines: "All lines", "Todas las líneas";
    price_of_fish: "price of the fish", "precio del pescado";
    pay_only: "pay only", "solo el pago";
    nothing_bought: "Nothing was bought.", "No se compró nada.";
    not_bought: "Not bought", "No se compró";
    small_fish: "Below the plate minimum", "Por debajo del mínimo de plato";
    proposed_to: "proposed to", "propuesto para";
    proposed_nowhere: "proposed to nowhere", "sin destino propuesto";
    not_known: "not known: not counted", "no se sabe: sin contar";
    cautions: "Cautions", "Precauciones";
    warnings: "Odd, and booked all the same", "Raro, y anotado igual";
    questions: "Asked", "Preguntas";
    answered: "Answered", "Respuesta";
    pay_followed: "What became of the pay", "Qué pasó con el pago";
    settled_by: "Settled by", "Liquidado por";
    not_settled: "not settled yet", "aún sin liquidar";
    dispute_until: "A line can be disputed until", "Se puede reclamar una línea hasta";
    object_until: "The diver can object until", "El buzo puede objetar hasta";
    disputes: "Disputes", "Reclamos";
    dispute_title: "Dispute a line", "Reclamar una línea";
    dispute_which: "Which line", "Qué línea";
    dispute_whole: "the whole ticket", "el boleto entero";
    dispute_why: "What is wrong", "Qué está mal";
    dispute_send: "Send to the office", "Enviar a la oficina";
    dispute_open: "Nobody has answered yet.", "Nadie ha contestado todavía.";
    dispute_sent: "The office has your dispute.", "La oficina tiene su reclamo.";
    owed_before: "Owed before", "Se debía antes";
    held_before: "Held before", "Retenido antes";
    owed_after: "Owed now", "Se debe ahora";
    held_after: "Held now", "Retenido ahora";
    paid: "Paid", "Pagado";
    paid_in_days: "Paid in these days", "Pagado en estos días";
    what: "What", "Qué";
    taken_off: "Taken off", "Descontado";
    to_take_off: "To take off", "Por descontar";
    still_to_take_off: "Still to be taken off", "Aún por descontar";
    advance: "advance", "anticipo";
    charge: "charge", "cargo";
    nothing_in_days: "Nothing in these days.", "Nada en estos días.";
    party: "Party", "Parte";
    refused_title: "Not done", "No se hizo";
    not_found_title: "Nothing here", "Aquí no hay nada";
    not_found: "There is no such page, or it is not yours to see.", "No existe esa página, o no le corresponde verla.";
    from_elsewhere: "This form did not come from a page of this house, or its page is from an earlier sign-in. Nothing was booked. Open the page again and send it from there.", "Este formulario no vino de una página de esta casa, o su página es de otra sesión. No se anotó nada. Abra la página otra vez y envíelo desde ahí.";
    too_long: "The form is too long. Nothing was booked.", "El formulario es demasiado largo. No se anotó nada.";
    late: "This took too long. What was sent may have been booked: look before you send it again.", "Esto tardó demasiado. Lo enviado puede estar anotado: mire antes de enviarlo otra vez.";
    unavailable: "The book cannot be reached just now. Try again in a moment: sent again, nothing is booked twice.", "El libro no responde ahora. Pruebe de nuevo en un momento: nada se anota dos veces.";
    internal: "Something went wrong on our side; it was logged.", "Algo falló de nuestro lado; quedó anotado.";
    too_often: "This key asks too often. Wait a moment.", "Esta llave pregunta demasiado seguido. Espere un momento.";
    no_site: "This key reaches no site yet.", "Esta llave aún no llega a ningún sitio.";
    refused_hint: "Nothing was booked. In the words of the book:", "No se anotó nada. En palabras del libro:";
    back: "Back", "Volver";
    is_needed: "is needed", "hace falta";
    yields: "Yields", "Rendimientos";
    yield_word: "Yield", "Rendimiento";
    no_cuts: "Nothing was cut in these days.", "No se cortó nada en estos días.";
    cuts: "Cuts", "Cortes";
    captured: "captured", "capturado";
    scale_take: "from the scale", "de la báscula";
    scale_moving: "not at rest yet", "aún no está quieta";
    scale_quiet: "The scale says nothing now", "La báscula no dice nada ahora";
    scale_other: "another unit than this page", "otra unidad que la de esta página";
    yield_answers: "What divers answered", "Lo que contestaron los buzos";
    yield_answer_title: "Answer this", "Contestar a esto";
    yield_answer_hint: "What you know of your fish stands beside the figure. It changes no figure and no pay.", "Lo que usted sabe de su pescado queda junto a la cifra. No cambia ninguna cifra ni ningún pago.";
    yield_answer_text: "What you say to it", "Lo que usted dice";
    yield_answer_send: "Put it beside the figure", "Ponerlo junto a la cifra";
    plain_yields: "Plain sums", "Sumas simples";
    plain_hint: "What went in and what came out, added up. It compares nobody: bands, condition and who cut it differ.", "Lo que entró y lo que salió, sumado. No compara a nadie: difieren las bandas, el estado y quién cortó.";
    supplier: "Supplier", "Proveedor";
    went_in: "Went in", "Entró";
    fillet: "Fillet", "Filete";
    as_table: "The same as a table", "Lo mismo en una tabla";
    save_svg: "Save as SVG", "Guardar como SVG";
    save_csv: "Save as CSV", "Guardar como CSV";
    days: "Days", "Días";
    no_days: "Nothing was entered yet.", "Aún no se anotó nada.";
    closed: "closed", "cerrado";
    not_closed: "not closed", "sin cerrar";
    revision: "revision", "revisión";
    entered_since: "something was entered since", "se anotó algo después";
    close: "Close of", "Cierre del";
    unaccounted: "Unaccounted", "Sin explicar";
    on_hand: "On hand at the end", "Existencia al final";
    flags: "Flags", "Avisos";
    flags_hint: "Most at stake first. A flag stays in its close; a reason says that somebody saw to it.", "Primero lo que más importa. Un aviso queda en su cierre; un motivo dice que alguien lo atendió.";
    deed_by_deed: "Entry by entry", "Anotación por anotación";
    flags_open: "Nobody has seen to these", "Nadie los ha atendido";
    no_flags: "Nothing to look at.", "Nada que mirar.";
    gap: "The day is closed with gaps because of this.", "Por esto el día se cerró con huecos.";
    gone: "Gone with a later revision.", "Desapareció con una revisión posterior.";
    evidence: "What it rests on", "En qué se apoya";
    seen_to: "Seen to:", "Atendido:";
    how_seen_to: "How it was seen to", "Cómo se atendió";
    see_to: "Seen to", "Atendido";
    owed_today: "Owed as the day ended", "Se debía al acabar el día";
    owed_now: "Owed", "Se debe";
    held_word: "held", "retenido";
    remarks: "What the figures leave out", "Lo que las cifras no dicen";
    lots: "Lots", "Lotes";
    lot_code: "Lot code", "Código de lote";
    lot_hint: "20 characters, as on the ticket or the label.", "20 caracteres, como en el boleto o la etiqueta.";
    made_by: "Made by", "Hecho por";
    came_from: "Came from", "Vino de";
    parts: "What is left of it", "Lo que queda";
    part: "Part", "Fracción";
    what_happened: "What happened", "Qué pasó";
    keys: "Keys", "Llaves";
    give_key: "Give out a key", "Dar una llave";
    key_name: "What it is called", "Cómo se llama";
    role: "Role", "Papel";
    whole_book: "the whole book", "todo el libro";
    works: "It opens.", "Abre.";
    opens_nothing: "It opens nothing", "No abre nada";
    give_link: "Give a link to sign in once", "Dar un enlace para entrar una vez";
    revoke: "Revoke for good", "Revocar para siempre";
    key_given: "A new key", "Una llave nueva";
    key_once: "It is shown this once. Copy it now: the book keeps no copy, and whoever has it is let in.", "Se muestra esta única vez. Cópiela ahora: el libro no guarda copia, y quien la tenga entra.";
    link_given: "A link to sign in once", "Un enlace para entrar una vez";
    link_once: "It works once, in the next 15 minutes. Give it only to whom the key belongs.", "Sirve una vez, en los próximos 15 minutos. Déselo solo a quien es dueño de la llave.";
    shown_before: "This was given out before and is not shown again. Give out another.", "Esto ya se dio y no se muestra otra vez. Dé otro.";
    parties: "Parties", "Partes";
    name: "Name", "Nombre";
    code: "Code", "Código";
    licence: "Licence", "Licencia";
    contact: "Contact", "Contacto";
    prices: "Price lists", "Listas de precios";
    no_prices: "No price list is posted.", "No hay listas de precios.";
    in_force: "holds now", "vale ahora";
    by_piece: "A band is found by the weight of each fish, or by the mean of a graded tote.", "La banda se halla por el peso de cada pez, o por la media de una caja clasificada.";
    by_lot: "A band is found by the weight of the lot.", "La banda se halla por el peso del lote.";
    below_plate: "below the plate minimum", "por debajo del mínimo de plato";
    added: "added to the price", "se suma al precio";
    party_on_file: "Put somebody on file", "Dar de alta a alguien";
    party_hint: "With a code that is on file, what is on file of them is changed; what was recorded before stays as it was.", "Con un código ya dado de alta, se cambia lo que hay; lo anotado antes queda como estaba.";
    put_on_file: "Put on file", "Dar de alta";
    expires: "Licence valid to", "Licencia válida hasta";
    no_party_code: "is 1 to 24 small letters, digits and hyphens, such as wren-haldane", "son de 1 a 24 letras minúsculas, cifras y guiones, como wren-haldane";
    too_long_text: "is too long, or has a character in it that does not print", "es demasiado largo, o tiene un carácter que no se imprime";
    delivery: "From which delivery", "De qué entrega";
    fillet_on_hand: "Fillet on hand", "Filete en la casa";
    cut_at: "Cut", "Cortado";
    past_fresh: "older than the site keeps fresh fillet", "más viejo de lo que el sitio guarda filete fresco";
    kitchen_costs: "What your cuts cost", "Lo que costaron sus cortes";
    kitchen_costs_hint: "What you paid for the fish, over the fillet that came out. Your wages are not known here. Only closed days are in it.", "Lo que pagó por el pescado, entre el filete que salió. Sus salarios no se conocen aquí. Solo cuentan los días cerrados.";
    paid_for: "Paid for it", "Pagado por ello";
    edible: "Cost of the fillet", "Costo del filete";
    lost: "Lost to yields below the reference", "Perdido por rendimientos bajo la referencia";
    plates: "Plates", "Platos";
    per_plate: "Fish of one plate", "Pescado de un plato";
    since_baseline: "Since the days that were in order", "Desde los días que estaban en orden";
    fillet_losses: "Fillet under its reference", "Filete bajo su referencia";
    fillet_missing: "fillet missing:", "filete que falta:";
    own_table: "own table", "mesa propia";
    customers_kitchens: "customers' kitchens", "cocinas de clientes";
    several_suppliers: "several suppliers", "varios proveedores";
    at_dock_cost: "at what was paid at the dock", "a lo pagado en el muelle";
    at_what_kitchen_paid: "at what the kitchen paid", "a lo que pagó la cocina";
    cut_or_soup: "Cutting or soup, by band", "Cortar o sopa, por banda";
    answer_cut: "cut it", "cortarlo";
    answer_soup: "make soup of it", "hacer sopa";
    answer_close: "too close to say", "muy parejo para decir";
    cutting_brings: "Cutting brings", "Cortarlo deja";
    soup_brings: "Soup brings", "La sopa deja";
    give_or_take: "Give or take, of the difference", "Más o menos, de la diferencia";
    pays_from: "Cutting pays from a fish of", "Cortar conviene desde un pez de";
    never: "never", "nunca";
    plan: "Plan for small fish", "Plan del pescado pequeño";
    plan_what_if: "Plan as it would be", "El plan como quedaría";
    plan_taken: "Plan that was taken", "Plan tomado";
    supposed: "Nothing was written. Without this choice it comes to:", "No se escribió nada. Sin esta decisión queda en:";
    choice_cannot_stand: "Nothing was written. In the words of the book:", "No se escribió nada. En palabras del libro:";
    no_small_fish: "There is no small fish on ice.", "No hay pescado pequeño en hielo.";
    each_part: "Where it goes, and why", "A dónde va y por qué";
    promised_filled: "Promised and filled", "Prometido y cumplido";
    kept_from_discard: "Kept from discard", "Salvado del descarte";
    brings_net: "Brings, net of handling", "Deja, sin el manejo";
    promised: "promised", "prometido";
    kept_word: "kept", "salvado";
    no_place: "no place", "sin lugar";
    pinned: "decided by a person", "decidido por una persona";
    first_made: "first", "antes";
    leaves_by: "leaves by", "sale antes de";
    handed_over: "handed over", "se entrega";
    next_best: "Next best, and what it changes", "Lo siguiente mejor, y qué cambia";
    where_not: "Where it may not go", "A dónde no puede ir";
    take_plan: "Take this plan", "Tomar este plan";
    take_hint: "Taken, fish can leave by its lines, each once. It can be asked for again at any time.", "Tomado, el pescado puede salir por sus líneas, cada una una vez. Se puede pedir otro en cualquier momento.";
    choose_title: "Decide otherwise", "Decidir otra cosa";
    which_fish: "Which fish", "Qué pescado";
    choice: "Decided", "Decidido";
    pin_it: "goes there", "va ahí";
    forbid_it: "does not go there", "no va ahí";
    free_it: "as the plan finds best", "como mejor vea el plan";
    room: "Place", "Lugar";
    how_much: "How much, if not all", "Cuánto, si no todo";
    what_if: "What if?", "¿Y si...?";
    record_choice: "Record it", "Anotarlo";
    choices_made: "What people decided, and what it costs", "Lo que se decidió, y lo que cuesta";
    costs: "Costs", "Cuesta";
    rooms: "Places", "Lugares";
    room_takes: "Takes", "Cabe";
    planned: "Planned", "Previsto";
    one_more: "One more lb or kg of room brings", "Un lb o kg más de lugar deja";
    donation_caution: "Donate only apparently wholesome food; local health rules still apply.", "Done solo alimento en aparente buen estado; rigen además las normas sanitarias locales.";
    new_prices: "A new price list", "Una lista de precios nueva";
    new_from_this: "begin a new one from this", "empezar una nueva con esta";
    begin_from: "Begin from the newest list of", "Empezar con la lista más nueva de";
    begin: "Begin", "Empezar";
    sheet: "Sheet", "Hoja";
    sheet_hint: "One form of fish in one grade. Bands begin at zero, each where the one before ends, and the last has no end. Exactly at an edge is the upper band.", "Una forma de pescado en una calidad. Las bandas empiezan en cero, cada una donde acaba la anterior, y la última no acaba. Justo en el límite vale la banda de arriba.";
    plate_minimum: "Plate minimum", "Mínimo de plato";
    one_plate_minimum: "is another than on an earlier sheet of the same form", "no es el de otra hoja de la misma forma";
    uncounted_price: "Price where nobody counted, if it is bought", "Precio sin contar, si se compra";
    from_weight: "from", "desde";
    to: "to under", "a menos de";
    band_name: "called", "se llama";
    prices_per: "Prices per", "Precios por";
    edges_in: "Edges in", "Límites en";
    found_by: "A band is found by", "La banda se halla por";
    piece_weight: "the weight of each fish, or the mean of a graded tote", "el peso de cada pez, o la media de una caja clasificada";
    lot_weight: "the weight of the lot", "el peso del lote";
    by_shot: "Added to the price by shot, if anything", "Se suma al precio según el tiro, si algo";
    holds_from: "Holds from the start of this business day; left empty, a minute after it is posted", "Vale desde el comienzo de este día; vacío, un minuto después de ponerla";
    more_bands: "More bands", "Más bandas";
    another_sheet: "Another sheet", "Otra hoja";
    as_it_applies: "As it would apply", "Como se aplicaría";
    example: "For example", "Por ejemplo";
    tickets_again: "Tickets of these days with it", "Boletos de estos días con ella";
    up_to: "up to, without", "hasta, sin";
    was_paid: "Paid", "Pagado";
    would_pay: "Would have paid", "Habría pagado";
    no_tickets_again: "No ticket of these days has this fish.", "Ningún boleto de estos días tiene este pescado.";
    all_together: "All together", "Todo junto";
    post_it: "Post the list", "Poner la lista";
    post_hint: "Nothing is posted yet. Posted, it stays; a new one takes its place.", "Aún no se puso nada. Puesta, se queda; una nueva la sustituye.";
    cannot_stand: "The list cannot stand as it is. In the words of the book:", "La lista no puede valer así. En palabras del libro:";
    cut: "Record a cut", "Anotar un corte";
    cut_recorded: "The cut is recorded", "El corte quedó anotado";
    record_cut: "Record the cut", "Anotar el corte";
    another_cut: "Another cut", "Otro corte";
    weights_in: "All weights are in", "Todos los pesos son en";
    weight: "Weight", "Peso";
    dispatch: "Number of the delivery", "Número de la entrega";
    needs_dispatch: "the 19 digits on the delivery's paper", "los 19 dígitos del papel de la entrega";
    needs_lot: "20 characters, and /2 for its second part", "20 caracteres, y /2 para su segunda fracción";
    nothing_left: "nothing is left", "no queda nada";
    came_out: "Came out", "Salió";
    not_weighed: "not weighed", "sin pesar";
    thrown_out: "Thrown out", "Tirado";
    how_cut: "How it was cut", "Cómo se cortó";
    specification: "Cut to", "Corte";
    specification_hint: "a short code, such as skinless", "un código corto, como skinless";
    minutes: "Minutes at the table", "Minutos en la mesa";
    cutter: "Who cut", "Quién cortó";
    scale: "Scale", "Báscula";
    kept: "Kept", "Se guarda";
    timer_start: "Start the timer", "Iniciar el reloj";
    timer_stop: "Stop and fill in", "Parar y anotar";
    cutting_loss: "Lost in cutting", "Merma del corte";
    beyond_loss: "Unaccounted at the table", "Sin explicar en la mesa";
    spines_caution: "Lionfish and scorpionfish: the spines stay venomous after the fish is dead. For a sting: hot water, as hot as can be borne without scalding, and medical help. This is not medical advice.", "Pez león y rascacio: las espinas siguen siendo venenosas después de muerto el pez. Si hay pinchazo: agua caliente, tanto como se aguante sin quemarse, y atención médica. Esto no es consejo médico.";
    allergen_caution: "Allergen: fish. Name the species on whatever leaves for a plate.", "Alérgeno: pescado. Nombre la especie en todo lo que salga para un plato.";
    defers_caution: "All of this defers to local codes, and to licensed or trained people: they come first.", "Todo esto cede ante las normas locales y ante personas con licencia o formación: ellas van primero.";
    turn: "Show it to the diver", "Mostrarlo al buzo";
    turn_title: "For the diver", "Para el buzo";
    turn_hint: "Turn the screen to the diver: the figures are what is paid.", "Gire la pantalla hacia el buzo: las cifras son lo que se paga.";
    diver_confirms: "The diver confirms", "El buzo confirma";
    diver_is_absent: "The diver is absent", "El buzo no está";
    another_species: "Another species", "Otra especie";
    undo: "Take back the last weight", "Quitar el último peso";
    start_over: "Begin anew", "Empezar de nuevo";
    next_weight: "next", "otro";
    hold_it: "hold", "retener";
    decision_hint: "Fish on hold is set aside and not owed yet. Fish refused is never bought, and its reason and what was done stay in the receiving log.", "El pescado retenido se aparta y aún no se debe. El rechazado no se compra nunca, y su motivo y lo que se hizo quedan en el registro de recepción.";
    kept_here: "Kept in this browser", "Guardado en este navegador";
    kept_here_hint: "Each entry is sent by itself, in order, and booked once. Until then it is provisional.", "Cada anotación se envía sola, por orden, y se anota una vez. Hasta entonces es provisional.";
    send_now: "Send now", "Enviar ahora";
    no_signal: "No signal. Entries are kept in this browser and sent when there is some.", "Sin señal. Las anotaciones se guardan en este navegador y se envían cuando la haya.";
    reopens: "This page opens again without signal.", "Esta página se abre otra vez sin señal.";
    stays_open: "Without signal it goes on only while this page stays open: this browser reopens pages only over a connection that it trusts.", "Sin señal sigue solo mientras esta página esté abierta: este navegador solo reabre páginas de una conexión en la que confía.";
    numbers_reserved: "lot numbers are reserved for it.", "números de lote están reservados para él.";
    sending: "Sending what was kept.", "Enviando lo guardado.";
    sign_in_to_send: "Sign in, then they are sent: entries are kept in this browser.", "Entre y se enviarán: hay anotaciones guardadas en este navegador.";
    kept_by_another: "Entries of somebody else are kept in this browser. They are sent when they sign in:", "En este navegador hay anotaciones de otra persona. Se envían cuando entre:";
    nothing_known: "Nothing is known here of divers and prices. Sign in once while there is signal.", "Aquí no se sabe nada de buzos ni precios. Entre una vez mientras haya señal.";
    provisional: "provisional", "provisional, sin anotar";
    reserved_number: "number reserved", "número reservado";
    no_number_yet: "its number comes with the answer", "su número llega con la respuesta";
    booked_ticket: "booked", "anotado";
    kept_refused: "Not booked:", "Sin anotar:";
    mend: "Mend it", "Corregirla";
    drop_entry: "Drop it", "Descartarla";
    drop_sure: "Drop it for good", "Descartarla para siempre";
    difference: "difference", "diferencia";
    shown_to_diver: "shown to the diver", "mostrado al buzo";
    not_kept: "It could not be kept in this browser. Write it down on paper.", "No se pudo guardar en este navegador. Anótelo en papel.";
    tries_again: "It is tried again by itself.", "Se intenta otra vez sin hacer nada.";
    price_not_known: "price not known without signal", "precio desconocido sin señal";
    worked_out_here: "Worked out in this browser, without signal: what is shown to the diver binds. Areas, cold and legal limits are judged by what this browser was told last, and again by the house when it is sent; whether the weight is usual, only then. What is not set or not known is for the person at the scale.", "Calculado en este navegador, sin señal: vale lo que se muestra al buzo. Áreas, frío y límites legales se juzgan con lo último que supo este navegador, y otra vez al enviarlo; si el peso es habitual, solo entonces. Lo que está sin fijar o no se sabe le toca a quien pesa.";
    too_warm: "is above the site's limit: ice it, write since when and that ice is around it, and probe it again; or hold it, or refuse it", "supera el límite del sitio: póngalo en hielo, anote desde cuándo y que tiene hielo alrededor, y mídalo otra vez; o reténgalo, o rechácelo";
    below_legal_length: "is below the legal length: the fish is refused", "es menor que la talla legal: el pescado se rechaza";
    out_of_season: "was caught out of season: the fish is refused", "se pescó fuera de temporada: el pescado se rechaza";
    over_trip_limit: "is over the trip limit on this ticket: what is over it is refused", "pasa en este boleto del límite por salida: lo que pasa se rechaza";
    histamine_limit: "with the warmest probe, outside of the site's histamine table: hold the fish, or refuse it", "con la sonda más alta, fuera de la tabla de histamina del sitio: retenga el pescado, o rechácelo";
    no_decimal: "is not a plain number such as 42.00", "no es un número simple como 42.00";
    no_weight: "is no weight of fish", "no es un peso de pescado";
    area_of_concern: "is on the site's list of areas of concern: the fish is refused", "está en la lista de áreas de riesgo del sitio: el pescado se rechaza";
    area_not_clear: "is needed, because the site keeps a list of areas of concern: hold the fish until it is clear, or refuse it", "hace falta, porque el sitio tiene una lista de áreas de riesgo: retenga el pescado hasta aclararlo, o rechácelo";
    print_slip: "Print the slip", "Imprimir el boleto";
    no_tote: "no such tote is known here: type its tare", "aquí no se conoce esa caja: escriba su tara";
    tare_not_below: "is not below the gross", "no es menor que el bruto";
    cull: "The mean is close to the plate minimum. Cull the small ones?", "La media queda junto al mínimo de plato. ¿Separar los pequeños?";
    kept_later: "Kept. It is sent when there is signal.", "Guardado. Se envía cuando haya señal.";
    signed_out_kept: "Entries that were not sent yet are still kept in this browser.", "Las anotaciones sin enviar siguen guardadas en este navegador.";
    weigh_in: "Weigh in", "Pesar";
    would_be: "The ticket as it would be", "El boleto como quedaría";
    change_below: "Or change something below and check again. Nothing is booked yet.", "O cambie algo abajo y revise otra vez. Aún no se anotó nada.";
    check: "Check", "Revisar";
    species: "Species", "Especie";
    form: "Form", "Forma";
    named_tote: "or a tote by name", "o una caja con nombre";
    shot: "Shot", "Tiro";
    iced: "with ice in it", "con hielo dentro";
    estimated: "the count is a guess", "la cuenta es a ojo";
    more_rows: "More totes", "Más cajas";
    fish_one_by_one: "Fish one by one", "Peces uno a uno";
    fish_weights: "Weights, with a blank between", "Pesos, con un espacio entre ellos";
    received: "Received", "Recepción";
    probe: "Probe", "Sonda";
    probe_again: "Probe it again by", "Mídalo otra vez antes de";
    degrees: "Degrees", "Grados";
    ice_around: "Ice around the fish", "Hielo alrededor";
    first_speared: "First speared at", "Primer arponazo";
    iced_at: "Iced at", "En hielo desde";
    smallest: "Smallest fish, length", "Pez más corto, talla";
    length_unit: "Length in", "Talla en";
    times_hint: "Times are of the last 24 hours by the site's clock, the first speared of the day caught where that is written. Of a species with a legal length measure the smallest fish.", "Las horas son de las últimas 24 por el reloj del sitio; la del primer arponazo, del día de pesca si está escrito. De una especie con talla legal mida el pez más corto.";
    no_time: "is no time of day such as 14:20", "no es una hora como 14:20";
    lies_ahead: "lies ahead of the site's clock", "aún no ha llegado en el reloj del sitio";
    no_degrees: "is no temperature such as 38.5", "no es una temperatura como 38.5";
    no_length: "is no length such as 12.5", "no es una talla como 12.5";
    yes: "yes", "sí";
    no: "none", "nada";
    decision: "Answer at the dock", "Respuesta en el muelle";
    why_held: "Why held or refused", "Por qué se retiene o rechaza";
    what_done: "What was done about refused fish", "Qué se hizo con lo rechazado";
    landing: "Landing", "Procedencia";
    area: "Area on the site's list", "Área de la lista del sitio";
    area_unclear: "nobody can say for certain where it was caught", "nadie sabe con certeza dónde se pescó";
    caught: "Caught", "Pescado el";
    landing_place: "Where it came ashore", "Dónde se desembarcó";
    dives: "Dives", "Inmersiones";
    note: "Note", "Nota";
    no_date: "is no day", "no es un día";
    no_grade: "is 1 to 8 letters or digits", "son de 1 a 8 letras o cifras";
    no_number: "is no number", "no es un número";
    ciguatera_caution: "Ciguatera: cooking does not remove the toxin. Fish from an area of concern is refused, and held only while the area is unclear.", "Ciguatera: cocinar no elimina la toxina. El pescado de un área de riesgo se rechaza, y solo se retiene mientras el área no esté clara.";
    cold_caution: "Cold: fish above the site's limit (41 F / 5 C where it has set none) when it leaves goes to nobody.", "Frío: el pescado por encima del límite del sitio (41 F / 5 C si no hay otro) al salir no va a nadie.";
    fields: "Fields", "Campos";
    keypad: "Keypad", "Teclado";
    rub_out: "Rub out", "Borrar";
    flag: "Flag", "Aviso";
    chart: "Chart", "Gráfico";
    sample_caution: "red lionfish: the spines stay venomous after the fish is dead. For a sting: hot water, as hot as can be borne without scalding, and medical help. This is not medical advice.", "pez león: las espinas siguen siendo venenosas después de muerto el pez. Si hay pinchazo: agua caliente, tanto como se aguante sin quemarse, y atención médica. Esto no es consejo médico.";
    sample_notice: "45.62 lb is between two divisions of the scale.", "45.62 lb queda entre dos divisiones de la báscula.";
    sample_error: "must be below the gross", "debe ser menor que el bruto";
    sample_flag: "2.75 lb of lot 20310502000100000031 are unaccounted.", "Faltan por explicar 2.75 lb del lote 20310502000100000031.";
    sample_chart: "A yield with its interval", "Un rendimiento con su intervalo";
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use rules::baseline::Follows;
    use rules::close::CloseState;
    use rules::fish::{Condition, Hazard, Outlet, Presentation, Storage};
    use rules::making::MakingKind;
    use rules::office::{PartyRole, Species};
    use rules::outlet::RoomKind;
    use rules::outlet::eligible::Rule;
    use rules::outlet::plan::ChoiceKind;
    use rules::receiving::{ReceivingRule, Standing};
    use rules::settlement::cash::Method;
    use rules::ticket::caution::cautions;
    use rules::ticket::{Confirmation, Decision, NotBoughtWhy, NoticeKind, SmallFish};

    use super::*;

    #[test]
    fn every_word_is_there_in_both_languages_and_differs() {
        // Alike in both: names, and words that are.
        let alike = ["home"];
        for (key, english, spanish) in ALL {
            assert!(
                !english.trim().is_empty() && !spanish.trim().is_empty(),
                "{key}"
            );
            let differs = english != spanish;
            assert_eq!(differs, !alike.contains(key), "{key}: {english}");
            let ends = |text: &str| text.chars().last().filter(char::is_ascii_punctuation);
            assert_eq!(ends(english), ends(spanish), "{key} ends otherwise");
        }
    }

    #[test]
    fn every_trade_word_of_the_rules_is_there_in_spanish() {
        let mut words = Vec::new();
        for n in 0..32 {
            words.extend(Presentation::from_number(n).map(Presentation::word));
            words.extend(Condition::from_number(n).map(Condition::word));
            words.extend(Storage::from_number(n).map(Storage::word));
            words.extend(Outlet::from_number(n).map(Outlet::word));
            words.extend(Role::from_number(n).map(Role::word));
            words.extend(PartyRole::from_number(n).map(PartyRole::word));
            words.extend(Confirmation::from_number(n).map(Confirmation::word));
            words.extend(NotBoughtWhy::from_number(n).map(NotBoughtWhy::word));
            words.extend(Decision::from_number(n).map(Decision::word));
            words.extend(SmallFish::from_number(n).map(SmallFish::word));
            words.extend(ReceivingRule::from_number(n).map(ReceivingRule::word));
            words.extend(Standing::from_number(n).map(Standing::word));
            words.extend(CloseState::from_number(n).map(CloseState::word));
            words.extend(MakingKind::from_number(n).map(MakingKind::word));
            words.extend(RoomKind::from_number(n).map(RoomKind::word));
            words.extend(Rule::from_number(n).map(Rule::word));
            words.extend(Follows::from_number(n).map(Follows::word));
            words.extend(ChoiceKind::from_number(n).map(ChoiceKind::word));
        }
        words.extend(Method::ALL.map(Method::word));
        assert!(words.len() > 30, "{words:?}");
        for word in words {
            let known = TERMS.iter().any(|(term, _)| *term == word);
            assert!(known, "{word} has no Spanish");
        }
    }

    #[test]
    fn who_did_something_is_named_by_their_role() {
        let named = |name| Language::Spanish.actor(name);
        assert_eq!(
            named("diver wren-haldane (phone)"),
            "buzo wren-haldane (phone)"
        );
        assert_eq!(named("office"), "oficina");
        assert_eq!(named("nightly"), "nightly");
        assert_eq!(Language::English.actor("diver ana"), "diver ana");
    }

    #[test]
    fn a_caution_names_its_species_in_spanish_too() {
        let species = Species {
            code: "LIO".to_owned(),
            name: "red lionfish".to_owned(),
            scientific_name: String::new(),
            hazards: vec![Hazard::Venomous],
            lightest: None,
            heaviest: None,
        };
        let said = cautions(&[&species], &[&species], false);
        let spines = said.iter().find(|notice| notice.code == "venomous_spines");
        let (text, is_ours) = Language::Spanish.notice(spines.unwrap());
        assert!(
            is_ours && text.starts_with("red lionfish: las espinas"),
            "{text}"
        );
        let allergen = said.iter().find(|notice| notice.code == "allergen");
        let (text, _) = Language::Spanish.notice(allergen.unwrap());
        assert!(text.contains("(red lionfish)"), "{text}");
        let odd = Notice::of(NoticeKind::Warning, "odd", "It is odd.".to_owned());
        assert_eq!(
            Language::Spanish.notice(&odd),
            (odd.text.clone(), false),
            "said as it is, and marked as English"
        );
    }
}
