//! A ticket for a receipt printer: 32 or 48 characters a line, in English or
//! Spanish.
//!
//! No line is longer than the paper is wide, and amounts end in one column.
//! What people wrote themselves, names and reasons, stays in their words;
//! everything else is in the language asked for, cautions too. Money is in the
//! site's currency, which stands with the totals.
//!
//! Whose copy it is decides what money is on it. The buyer's, which the diver who
//! landed the fish gets too, has all of it and who is paid what. A payee's copy has
//! the weights and that payee's money, and no other.

use proto::v1;

use crate::known::Known;
use crate::show::{self, word};

/// Language of the printed words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Language {
    /// English.
    En,
    /// Spanish.
    Es,
}

impl Language {
    /// The English word, or the Spanish for it.
    const fn say(self, english: &'static str, spanish: &'static str) -> &'static str {
        match self {
            Language::En => english,
            Language::Es => spanish,
        }
    }

    fn presentation(self, presentation: i32) -> String {
        use v1::Presentation as P;
        if self == Language::En {
            return word!(Presentation, presentation);
        }
        match P::try_from(presentation).unwrap_or_default() {
            P::Unspecified => "",
            P::Whole => "entero",
            P::SpinesClipped => "sin espinas",
            P::Gutted => "eviscerado",
            P::GuttedHeaded => "eviscerado sin cabeza",
            P::FilletSkinOn => "filete con piel",
            P::FilletSkinless => "filete sin piel",
            P::Trim => "recortes",
            P::Frames => "espinazos",
            P::Roe => "huevas",
            P::Other => "otro",
        }
        .to_owned()
    }

    fn condition(self, condition: i32) -> String {
        use v1::Condition as C;
        if self == Language::En {
            return word!(Condition, condition);
        }
        match C::try_from(condition).unwrap_or_default() {
            C::Unspecified => "",
            C::Clean => "limpio",
            C::Body => "tiro al cuerpo",
            C::Torn => "desgarrado",
        }
        .to_owned()
    }

    fn outlet(self, outlet: i32) -> String {
        use v1::Outlet as O;
        if self == Language::En {
            return show::outlet(outlet);
        }
        match O::try_from(outlet).unwrap_or_default() {
            O::Unspecified => "",
            O::SoldWhole => "venta entero",
            O::Soup => "sopa",
            O::Donation => "donación",
            O::Gift => "regalo",
            O::CrewUse => "consumo propio",
            O::ByProduct => "subproducto",
            O::Discard => "descarte",
            O::Sample => "muestra",
        }
        .to_owned()
    }

    fn not_bought(self, why: i32) -> &'static str {
        match v1::NotBoughtWhy::try_from(why).unwrap_or_default() {
            v1::NotBoughtWhy::Unspecified => "",
            v1::NotBoughtWhy::Refused => self.say("refused", "rechazado"),
            v1::NotBoughtWhy::TakenHome => self.say("taken home", "se lo lleva el buzo"),
        }
    }

    fn confirmation(self, confirmation: i32) -> &'static str {
        match v1::Confirmation::try_from(confirmation).unwrap_or_default() {
            v1::Confirmation::Unspecified => "",
            v1::Confirmation::ByDiver => self.say("by the diver", "por el buzo"),
            v1::Confirmation::DiverAbsent => self.say("diver absent", "buzo ausente"),
        }
    }

    /// A question of the ticket; one it no longer asks by its code.
    fn question(self, code: &str, asked: Option<&v1::Notice>) -> String {
        match (self, code, asked) {
            (Language::En, _, Some(notice)) => notice.text.clone(),
            (Language::Es, "cull", _) => {
                "¿Separar los peces pequeños? La media queda junto al mínimo de plato.".to_owned()
            }
            (Language::Es, "fish_this_long" | "fish_this_light" | "fish_this_heavy", _) => {
                "¿Está bien lo pesado? El pez medio no es de un tamaño habitual.".to_owned()
            }
            _ => code.to_owned(),
        }
    }

    fn caution(self, notice: &v1::Notice, bought: &str) -> String {
        if self == Language::En {
            return notice.text.clone();
        }
        match notice.code.as_str() {
            "venomous_spines" => {
                "Espinas: siguen siendo venenosas después de muerto el pez. Si hay pinchazo: agua \
                 caliente, tanto como se aguante sin quemarse, y atención médica. Esto no es \
                 consejo médico."
            }
            "ciguatera" => {
                "Ciguatera: cocinar no elimina la toxina. El pescado de un área de la lista de \
                 áreas de riesgo del sitio se rechaza, y solo se retiene mientras el área no esté \
                 clara."
            }
            "cold" => {
                "Frío: el pescado por encima del límite del sitio (41 F / 5 C si no hay otro) al \
                 salir no va a nadie."
            }
            "allergen" => {
                return format!(
                    "Alérgeno: pescado ({bought}). Dígalo en todo lo que salga para una cocina o \
                     un beneficiario."
                );
            }
            "donation" => {
                "Done solo alimento en aparente buen estado; rigen además las normas sanitarias \
                 locales."
            }
            "local_codes" => {
                "Todo esto cede ante las normas locales y ante personas con licencia o formación: \
                 ellas van primero."
            }
            _ => "Hay otra precaución en el boleto completo: léala.",
        }
        .to_owned()
    }
}

/// Paper of a width, printed from the top down.
struct Paper {
    width: usize,
    text: String,
}

impl Paper {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn rule(&mut self) {
        self.line(&"-".repeat(self.width));
    }

    fn centered(&mut self, text: &str) {
        for line in wrapped(text, self.width) {
            let before = (self.width - line.chars().count()) / 2;
            self.line(&format!("{}{line}", " ".repeat(before)));
        }
    }

    /// Words, with an indent.
    fn words(&mut self, indent: usize, text: &str) {
        for line in wrapped(text, self.width - indent) {
            self.line(&format!("{}{line}", " ".repeat(indent)));
        }
    }

    /// Words on the left, and a figure that ends where the paper does.
    fn pair(&mut self, indent: usize, words: &str, figure: &str) {
        let room = self.width - indent;
        let mut lines = wrapped(words, room);
        let last = lines.pop().unwrap_or_default();
        for line in lines {
            self.line(&format!("{}{line}", " ".repeat(indent)));
        }
        let (taken, needed) = (last.chars().count(), figure.chars().count());
        if taken + 1 + needed <= room {
            let between = " ".repeat(room - taken - needed);
            self.line(&format!("{}{last}{between}{figure}", " ".repeat(indent)));
        } else {
            self.line(&format!("{}{last}", " ".repeat(indent)));
            for line in wrapped(figure, room) {
                let before = self.width - line.chars().count();
                self.line(&format!("{}{line}", " ".repeat(before)));
            }
        }
    }
}

/// Lines of at most `width` characters, broken between words where it can be.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(width.max(1)) {
            let piece: String = piece.iter().collect();
            let last = lines.len() - 1;
            let taken = lines[last].chars().count();
            if taken == 0 {
                lines[last] = piece;
            } else if taken + 1 + piece.chars().count() <= width {
                lines[last].push(' ');
                lines[last].push_str(&piece);
            } else {
                lines.push(piece);
            }
        }
    }
    lines
}

/// The ticket, in lines of at most `width` characters: the copy of a payee where one
/// is named, else the buyer's. Who was shown a share of it and no more gets that.
#[must_use]
pub fn text(
    ticket: &v1::Ticket,
    known: &Known,
    width: usize,
    language: Language,
    payee: Option<&v1::PayeeAmount>,
) -> String {
    let mut paper = Paper {
        width,
        text: String::new(),
    };
    let is_shown_all = ticket.payout.is_some();
    let payee = payee.or(ticket.payee_amounts.first().filter(|_| !is_shown_all));
    head(&mut paper, ticket, known, language);
    weighed(&mut paper, ticket, known, language);
    let with_money = is_shown_all && payee.is_none();
    paid(&mut paper, ticket, known, language, with_money);
    not_bought(&mut paper, ticket, known, language);
    match payee {
        Some(payee) => share(&mut paper, payee, known, language),
        None if with_money => totals(&mut paper, ticket, known, language),
        None => {}
    }
    answers(&mut paper, ticket, language);
    small(&mut paper, ticket, language);
    cautions(&mut paper, ticket, language);
    paper.text
}

fn head(paper: &mut Paper, ticket: &v1::Ticket, known: &Known, language: Language) {
    if known.clock.simulated {
        paper.centered(language.say(
            "SIMULATED CLOCK: NOT FOR TRADE",
            "RELOJ SIMULADO: NO VALE PARA EL COMERCIO",
        ));
    }
    let site = known.sites.get(&ticket.site);
    paper.centered(&site.map_or_else(|| ticket.site.to_string(), |site| site.name.clone()));
    paper.centered(&format!(
        "{} {}",
        language.say("Ticket", "Boleto"),
        ticket.id
    ));
    match v1::TicketState::try_from(ticket.state).unwrap_or_default() {
        v1::TicketState::Voided => paper.centered(language.say("VOIDED", "ANULADO")),
        v1::TicketState::Rewritten => {
            paper.centered(language.say("REWRITTEN: DOES NOT STAND", "REESCRITO: YA NO VALE"))
        }
        v1::TicketState::Stands | v1::TicketState::Unspecified => {}
    }
    paper.centered(&known.instant(ticket.site, ticket.priced_at.as_ref()));
    let name = known.parties.get(&ticket.harvester);
    let name = name.map_or(&*ticket.harvester, |name| name.as_str());
    paper.pair(0, language.say("Diver", "Buzo"), name);
    paper.pair(
        0,
        language.say("Confirmed", "Confirmado"),
        language.confirmation(ticket.confirmation),
    );
    if ticket.object_until.is_some() {
        let until = known.instant(ticket.site, ticket.object_until.as_ref());
        let objects = language.say("May object until", "Puede objetar hasta");
        paper.words(0, &format!("{objects} {until}"));
    }
    if let Some(rewrites) = &ticket.rewrites {
        let of = language.say("In place of", "En lugar de");
        paper.pair(0, of, &rewrites.ticket);
    }
}

fn fish(known: &Known, code: &str, name: &str) -> String {
    if name.is_empty() {
        known.species(code)
    } else {
        name.to_owned()
    }
}

fn weighed(paper: &mut Paper, ticket: &v1::Ticket, known: &Known, language: Language) {
    paper.rule();
    paper.line(language.say("WEIGHED", "PESADO"));
    for lot in &ticket.lots {
        let name = fish(known, &lot.species, &lot.species_name);
        let form = language.presentation(lot.presentation);
        paper.words(0, &format!("{} {name}, {form}", lot.n));
        if !lot.lot_code.is_empty() {
            paper.pair(2, language.say("lot", "lote"), &lot.lot_code);
        }
        for tote in &lot.weighed {
            let written = tote.as_written.clone().unwrap_or_default();
            let count = count(&written, language);
            let shot = language.condition(written.condition);
            paper.words(
                2,
                &format!("{} {shot} {count}", show::grade(&written.grade)),
            );
            for (what, weight) in [
                (language.say("gross", "bruto"), &tote.gross),
                (language.say("tare", "tara"), &tote.tare),
                (language.say("ice", "hielo"), &tote.ice),
                (language.say("net", "neto"), &tote.net),
            ] {
                let weight = show::weight_unless_zero(weight.as_ref());
                if !weight.is_empty() {
                    paper.pair(4, what, &weight);
                }
            }
        }
    }
}

fn count(written: &v1::Weighing, language: Language) -> String {
    let fish = |n: i64| {
        let what = match n {
            1 => language.say("fish", "pez"),
            _ => language.say("fish", "peces"),
        };
        format!("{n} {what}")
    };
    match &written.weighed {
        Some(v1::weighing::Weighed::Pieces(pieces)) => {
            fish(i64::try_from(pieces.pieces.len()).unwrap_or(i64::MAX))
        }
        Some(v1::weighing::Weighed::Tote(tote)) => match (tote.pieces, tote.pieces_estimated) {
            (None, _) => language.say("not counted", "sin contar").to_owned(),
            (Some(n), false) => fish(n.into()),
            (Some(n), true) => {
                format!("{} {}", language.say("about", "unos"), fish(n.into()))
            }
        },
        None => String::new(),
    }
}

/// `277.73`, the currency left out.
fn amount(money: Option<&v1::Money>) -> String {
    let shown = show::money(money);
    shown
        .split_once(' ')
        .map_or_else(|| shown.clone(), |(amount, _)| amount.to_owned())
}

fn paid(
    paper: &mut Paper,
    ticket: &v1::Ticket,
    known: &Known,
    language: Language,
    with_money: bool,
) {
    paper.rule();
    paper.line(if with_money {
        language.say("PAID BY WEIGHT BAND", "PAGO POR BANDA DE PESO")
    } else {
        language.say("BY WEIGHT BAND", "POR BANDA DE PESO")
    });
    if ticket.lines.is_empty() {
        paper.line(language.say("Nothing was bought.", "No se compró nada."));
    }
    for line in &ticket.lines {
        let band = if line.band == 0 {
            language.say("not counted", "sin contar").to_owned()
        } else {
            line.band_name.clone()
        };
        let words = [
            line.n.to_string(),
            known.species(&line.species),
            show::grade(&line.grade),
            language.condition(line.condition),
            band,
        ];
        paper.words(0, &words.join(" "));
        if line.band != 0 {
            let (from, to) = (show::weight(line.band_from.as_ref()), &line.band_to);
            let edges = match to {
                Some(to) => format!(
                    "{from} {} {}",
                    language.say("to under", "a menos de"),
                    show::weight(Some(to))
                ),
                None => format!("{from} {}", language.say("and over", "o más")),
            };
            paper.words(2, &edges);
        }
        if with_money {
            let sum = format!(
                "{} x {}",
                show::weight(line.net.as_ref()),
                price(line.price.as_ref())
            );
            paper.pair(2, &sum, &amount(line.amount.as_ref()));
        } else {
            let net = language.say("net", "neto");
            paper.pair(2, net, &show::weight(line.net.as_ref()));
        }
        if with_money && line.agreed_price.is_some() {
            let (agreed, list) = (
                language.say("agreed price", "precio acordado"),
                language.say("list", "lista"),
            );
            let (beats, listed) = (
                price(line.agreed_price.as_ref()),
                price(line.list_price.as_ref()),
            );
            paper.words(2, &format!("{agreed} {beats}, {list} {listed}:"));
            paper.words(2, &line.agreed_reason);
        }
        if line.held {
            paper.words(
                2,
                language.say("held, not owed yet", "retenido, aún no se debe"),
            );
        }
    }
}

/// `5.25/lb`, the currency left out.
fn price(price: Option<&v1::UnitPrice>) -> String {
    price.map_or_else(String::new, |price| {
        show::price(Some(price)).replace(&format!(" {}", price.currency), "")
    })
}

fn not_bought(paper: &mut Paper, ticket: &v1::Ticket, known: &Known, language: Language) {
    if ticket.not_bought.is_empty() {
        return;
    }
    paper.rule();
    paper.line(language.say("NOT BOUGHT", "NO COMPRADO"));
    for row in &ticket.not_bought {
        let words = format!(
            "{}: {}",
            known.species(&row.species),
            language.not_bought(row.why)
        );
        paper.pair(0, &words, &show::weight(row.net.as_ref()));
        for said in [&row.reason, &row.corrective_action] {
            if !said.is_empty() {
                paper.words(2, said);
            }
        }
    }
}

fn totals(paper: &mut Paper, ticket: &v1::Ticket, known: &Known, language: Language) {
    paper.rule();
    let all = language.say("All lines", "Total de líneas");
    paper.pair(0, all, &amount(ticket.lines_total.as_ref()));
    for adjustment in &ticket.adjustments {
        paper.pair(0, &adjustment.name, &amount(adjustment.amount.as_ref()));
    }
    let payout = language.say("PAYOUT", "A PAGAR");
    paper.pair(0, payout, &show::money(ticket.payout.as_ref()));
    paper.pair(
        0,
        language.say("Owed", "Se debe"),
        &show::money(ticket.owed.as_ref()),
    );
    let held = show::money_unless_zero(ticket.held.as_ref());
    if !held.is_empty() {
        let words = language.say("Held, not owed yet", "Retenido, aún no se debe");
        paper.pair(0, words, &held);
    }
    for (payee, paid) in ticket.payees.iter().zip(&ticket.payee_amounts) {
        let share = match &payee.share {
            None | Some(v1::payee_share::Share::Fixed(_)) => String::new(),
            Some(v1::payee_share::Share::Percent(percent)) => format!(", {percent} %"),
        };
        let of = language.say("Share of", "Parte de");
        let words = format!("{of} {}{share}", known.party(&payee.party));
        paper.pair(0, &words, &show::money(paid.owed.as_ref()));
        held_back(paper, paid.held.as_ref(), language);
    }
}

/// What one payee is paid, and nobody else.
fn share(paper: &mut Paper, payee: &v1::PayeeAmount, known: &Known, language: Language) {
    paper.rule();
    let of = language.say("COPY FOR", "COPIA PARA");
    paper.words(0, &format!("{of} {}", known.party(&payee.party)));
    let owed = language.say("Your share, owed", "Su parte, se debe");
    paper.pair(0, owed, &show::money(payee.owed.as_ref()));
    held_back(paper, payee.held.as_ref(), language);
}

fn held_back(paper: &mut Paper, held: Option<&v1::Money>, language: Language) {
    let held = show::money_unless_zero(held);
    if !held.is_empty() {
        let words = language.say("held, not owed yet", "retenido, aún no se debe");
        paper.pair(2, words, &held);
    }
}

/// What was said to the questions that the ticket asked.
fn answers(paper: &mut Paper, ticket: &v1::Ticket, language: Language) {
    if ticket.answers.is_empty() {
        return;
    }
    paper.rule();
    paper.line(language.say("ASKED AND ANSWERED", "PREGUNTAS Y RESPUESTAS"));
    for answer in &ticket.answers {
        let asked = ticket
            .notices
            .iter()
            .find(|notice| notice.code == answer.code);
        paper.words(0, &language.question(&answer.code, asked));
        paper.words(2, &answer.text);
    }
}

fn small(paper: &mut Paper, ticket: &v1::Ticket, language: Language) {
    let of = |undersize: v1::Undersize| {
        let lines = ticket.lines.iter();
        lines.filter(move |line| line.undersize == i32::from(undersize))
    };
    if of(v1::Undersize::Yes).count() + of(v1::Undersize::NotKnown).count() == 0 {
        return;
    }
    paper.rule();
    paper.words(
        0,
        language.say("BELOW THE PLATE MINIMUM", "POR DEBAJO DEL MÍNIMO DE PLATO"),
    );
    for line in of(v1::Undersize::Yes) {
        let outlet = language.outlet(line.proposed_outlet);
        let to = if outlet.is_empty() {
            language
                .say(
                    "nowhere: the full ticket says why",
                    "a ningún lado: el boleto completo dice por qué",
                )
                .to_owned()
        } else {
            format!("{} {outlet}", language.say("proposed to", "propuesto para"))
        };
        let words = format!("{} {}: {to}", language.say("line", "línea"), line.n);
        paper.pair(0, &words, &show::weight(line.net.as_ref()));
    }
    for line in of(v1::Undersize::NotKnown) {
        let words = format!(
            "{} {}: {}",
            language.say("line", "línea"),
            line.n,
            language.say("not known, not counted", "no se sabe, sin contar")
        );
        paper.words(0, &words);
    }
}

fn cautions(paper: &mut Paper, ticket: &v1::Ticket, language: Language) {
    let caution = i32::from(v1::NoticeKind::Caution);
    let bought: std::collections::BTreeSet<&str> = ticket
        .lots
        .iter()
        .filter(|lot| !lot.lot_code.is_empty())
        .map(|lot| lot.species_name.as_str())
        .collect();
    let bought = bought.into_iter().collect::<Vec<_>>().join(", ");
    let mut said: Vec<String> = Vec::new();
    for notice in ticket
        .notices
        .iter()
        .filter(|notice| notice.kind == caution)
    {
        let text = language.caution(notice, &bought);
        if !said.contains(&text) {
            said.push(text);
        }
    }
    if said.is_empty() {
        return;
    }
    paper.rule();
    paper.line(language.say("CAUTIONS", "PRECAUCIONES"));
    for text in &said {
        paper.words(0, text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ticket::tests::sample;

    #[test]
    fn no_line_is_longer_than_the_paper_and_amounts_end_where_it_does() {
        let ticket = sample();
        for width in [32, 48] {
            for language in [Language::En, Language::Es] {
                let slip = text(&ticket, &Known::default(), width, language, None);
                for line in slip.lines() {
                    assert!(line.chars().count() <= width, "{width}: {line}\n{slip}");
                }
                for figure in ["13.44", "210.00", "220.44 USD", "-3.00", "40.750 lb"] {
                    let line = slip.lines().find(|line| line.ends_with(figure));
                    let line = line.unwrap_or_else(|| panic!("no {figure}:\n{slip}"));
                    assert_eq!(line.chars().count(), width, "{line}\n{slip}");
                }
            }
        }
    }

    #[test]
    fn a_ticket_on_32_characters_in_english() {
        let slip = text(&sample(), &Known::default(), 32, Language::En, None);
        let told: Vec<&str> = slip.lines().collect();
        let at = told.iter().position(|line| *line == "PAID BY WEIGHT BAND");
        let paid = &told[at.unwrap_or(0)..][..8];
        assert_eq!(
            paid,
            [
                "PAID BY WEIGHT BAND",
                "1 undersize",
                "  0.000 lb to under 0.500 lb",
                "  10.750 lb x 1.25/lb      13.44",
                "2 jumbo",
                "  1.250 lb and over",
                "  30.000 lb x             210.00",
                "  held, not owed yet",
            ],
            "{slip}"
        );
    }

    #[test]
    fn a_ticket_on_32_characters_in_spanish() {
        let slip = text(&sample(), &Known::default(), 32, Language::Es, None);
        for line in [
            "Buzo                     diver-1",
            "    bruto              45.600 lb",
            "    hielo               1.250 lb",
            "  1.250 lb o más",
            "  retenido, aún no se debe",
            "LCX: rechazado          9.000 lb",
            "A PAGAR               220.44 USD",
            "PRECAUCIONES",
        ] {
            assert!(
                slip.lines().any(|printed| printed == line),
                "{line}\n{slip}"
            );
        }
        // Nothing of the service's English, and none of ours.
        for english in [
            "spines", "gross", "held", "owed", "Ticket", "soup", "refused",
        ] {
            assert!(!slip.contains(english), "{english}\n{slip}");
        }
    }

    fn cents(amount_minor: i64) -> Option<v1::Money> {
        let mut money = sample().payout.unwrap_or_default();
        money.amount_minor = amount_minor;
        Some(money)
    }

    /// Shared by two, at a price agreed with the diver, with a question answered.
    fn shared() -> v1::Ticket {
        let mut ticket = sample();
        let percent = |party: &str, percent: &str| v1::PayeeShare {
            party: party.to_owned(),
            share: Some(v1::payee_share::Share::Percent(percent.to_owned())),
        };
        let paid = |party: &str, owed: i64, held: i64| v1::PayeeAmount {
            party: party.to_owned(),
            owed: cents(owed),
            held: (held > 0).then(|| cents(held)).flatten(),
        };
        ticket.payees = vec![percent("diver-1", "60"), percent("boat-1", "40")];
        ticket.payee_amounts = vec![paid("diver-1", 626, 12_600), paid("boat-1", 418, 8_400)];
        ticket.answers = vec![v1::QuestionAnswer {
            code: "cull".to_owned(),
            text: "he keeps them in".to_owned(),
        }];
        let line = &mut ticket.lines[0];
        line.agreed_price = line.price.clone();
        line.list_price = line.price.clone();
        line.agreed_reason = "removal weekend".to_owned();
        ticket
    }

    #[test]
    fn the_buyers_copy_says_who_is_paid_what_and_why_at_that_price() {
        let slip = text(&shared(), &Known::default(), 48, Language::En, None);
        for line in [
            "  agreed price 1.25/lb, list 1.25/lb:",
            "  removal weekend",
            "Share of diver-1, 60 %                  6.26 USD",
            "Share of boat-1, 40 %                   4.18 USD",
            "  held, not owed yet                   84.00 USD",
            "ASKED AND ANSWERED",
            "  he keeps them in",
            "LCX: refused                            9.000 lb",
        ] {
            assert!(slip.lines().any(|said| said == line), "{line}\n{slip}");
        }
        let slip = text(&shared(), &Known::default(), 32, Language::Es, None);
        for line in [
            "  precio acordado 1.25/lb, lista",
            "  1.25/lb:",
            "Parte de diver-1, 60 %  6.26 USD",
            "PREGUNTAS Y RESPUESTAS",
            "  he keeps them in",
        ] {
            assert!(slip.lines().any(|said| said == line), "{line}\n{slip}");
        }
    }

    #[test]
    fn a_payees_copy_has_the_weights_and_no_money_but_theirs() {
        let ticket = shared();
        for (width, language) in [(32, Language::En), (48, Language::Es)] {
            let payee = Some(&ticket.payee_amounts[1]);
            let slip = text(&ticket, &Known::default(), width, language, payee);
            for shown in ["4.18 USD", "84.00 USD", "10.750 lb", "30.000 lb"] {
                assert!(slip.contains(shown), "{shown}\n{slip}");
            }
            // Prices, lines, totals, adjustments and the other payee.
            for hidden in [
                "/lb", "13.44", "210.00", "220.44", "-3.00", "6.26", "126.00", "60 %",
            ] {
                assert!(!slip.contains(hidden), "{hidden}\n{slip}");
            }
            let longest = slip.lines().map(|line| line.chars().count()).max();
            assert_eq!(longest, Some(width), "{slip}");
        }
    }
    #[test]
    fn who_was_shown_a_share_and_no_more_gets_the_copy_of_it() {
        let whole = shared();
        let own = &whole.payee_amounts[1];
        let (width, language) = (32, Language::En);
        let copy = text(&whole, &Known::default(), width, language, Some(own));
        let unpriced = |line: &v1::TicketLine| v1::TicketLine {
            price: None,
            amount: None,
            ..line.clone()
        };
        let hidden = v1::Ticket {
            lines: whole.lines.iter().map(unpriced).collect(),
            payout: None,
            lines_total: None,
            payees: Vec::new(),
            payee_amounts: vec![own.clone()],
            ..whole.clone()
        };
        let seen = text(&hidden, &Known::default(), width, language, None);
        assert_eq!(seen, copy);
        let nothing = v1::Ticket {
            payee_amounts: Vec::new(),
            ..hidden
        };
        let seen = text(&nothing, &Known::default(), width, language, None);
        assert!(
            seen.contains("30.000 lb") && !seen.contains("PAYOUT"),
            "{seen}"
        );
    }
}
