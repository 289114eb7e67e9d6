//! What a ticket would be, for a person to look at before it is booked: as a page shows
//! it, and as a script is told it while somebody types.

use rules::fish::Undersize;
use rules::office::Site;
use rules::ticket::{LotIn, NoticeKind, Ticket, WeighIn};
use serde_json::{Value, json};

use crate::received::{self, Found};
use crate::show;
use crate::visit::SignedIn;
use crate::words::{Language, Said, Words};

/// What the ticket would be.
pub(super) struct Checked {
    pub(super) lines: Vec<Line>,
    /// What was seen as it came in, with its times as they were understood.
    pub(super) seen: Vec<(String, String)>,
    pub(super) found: Vec<Found>,
    pub(super) probe_again: Vec<String>,
    pub(super) not_bought: Vec<(String, &'static str)>,
    /// Bought weight.
    pub(super) net: String,
    pub(super) payout: String,
    pub(super) held: String,
    pub(super) cautions: Vec<Said>,
    pub(super) warnings: Vec<Said>,
    pub(super) questions: Vec<Question>,
    payout_minor: i64,
}

/// A line of it.
pub(super) struct Line {
    /// Where there are several lots: of which fish it is.
    pub(super) fish: String,
    pub(super) band: String,
    pub(super) pieces: String,
    pub(super) net: String,
    pub(super) price: String,
    pub(super) amount: String,
    pub(super) is_held: bool,
    /// Where fish below the plate minimum is proposed to go.
    pub(super) small: String,
    /// Why there, and what it takes first.
    pub(super) small_reason: Said,
    amount_minor: i64,
}

/// Something to ask the diver.
pub(super) struct Question {
    pub(super) code: String,
    pub(super) text: String,
    pub(super) is_ours: bool,
}

/// A ticket to look at.
pub(super) fn checked(who: &SignedIn, site: &Site, asked: &WeighIn, ticket: &Ticket) -> Checked {
    let (w, language) = (who.words(), who.language());
    let unit = who.unit(site);
    let fish_of = |lot: i64| {
        let n = usize::try_from(lot - 1).unwrap_or_default();
        match (asked.lots.get(n), ticket.lots.get(n)) {
            (Some(written), Some(lot)) if ticket.lots.len() > 1 => {
                let form = language.term(written.presentation.word());
                format!("{}, {form}", lot.species_name)
            }
            _ => String::new(),
        }
    };
    let line = |line: &rules::ticket::Line| Line {
        fish: fish_of(line.lot),
        band: match line.band {
            0 => w.not_counted.to_owned(),
            _ => {
                let edges = show::band(w, line.band_from, line.band_to, unit);
                format!("{}, {edges}", line.band_name)
            }
        },
        pieces: show::pieces(w, line.pieces),
        net: show::weight(line.net, unit),
        price: line.price.to_string(),
        amount: line.amount.to_string(),
        is_held: line.held,
        small: small_fish(w, language, line),
        small_reason: language.sentence(&line.proposed_reason),
        amount_minor: line.amount.minor(),
    };
    let said = |kind: NoticeKind| {
        let of = ticket
            .notices
            .iter()
            .filter(move |notice| notice.kind == kind);
        of.map(|notice| language.notice(notice))
    };
    let questions = ticket.notices.iter();
    let questions = questions.filter(|notice| notice.kind == NoticeKind::Question);
    Checked {
        lines: ticket.lines.iter().map(line).collect(),
        seen: seen(w, language, site, asked),
        found: ticket
            .lots
            .iter()
            .flat_map(|lot| received::found(language, &lot.received))
            .collect(),
        probe_again: ticket
            .lots
            .iter()
            .map(|lot| received::probe_again(w, site, &lot.received))
            .filter(|words| !words.is_empty())
            .collect(),
        not_bought: ticket
            .not_bought
            .iter()
            .map(|row| (show::weight(row.net, unit), language.term(row.why.word())))
            .collect(),
        net: show::weight(ticket.lines.iter().map(|line| line.net).sum(), unit),
        payout: ticket.payout.to_string(),
        held: show::money_unless_zero(ticket.held),
        cautions: said(NoticeKind::Caution).collect(),
        warnings: said(NoticeKind::Warning).collect(),
        questions: questions
            .map(|notice| {
                let (text, is_ours) = language.notice(notice);
                Question {
                    code: notice.code.clone(),
                    text,
                    is_ours,
                }
            })
            .collect(),
        payout_minor: ticket.payout.minor(),
    }
}

/// What was seen of each lot; where there are several, of which.
fn seen(w: &Words, language: Language, site: &Site, asked: &WeighIn) -> Vec<(String, String)> {
    let of = |(n, lot): (usize, &LotIn)| {
        let rows = received::seen(w, language, site, &lot.receiving);
        let named = move |name: &str| match asked.lots.len() {
            1 => name.to_owned(),
            _ => format!("{} {n}, {name}", w.lot),
        };
        rows.into_iter().map(move |(name, is)| (named(name), is))
    };
    (1..).zip(&asked.lots).flat_map(of).collect()
}

fn small_fish(w: &Words, language: Language, line: &rules::ticket::Line) -> String {
    match (line.undersize, line.proposed) {
        (Undersize::No, _) => String::new(),
        (Undersize::NotKnown, _) => w.not_known.to_owned(),
        (Undersize::Yes, Some(outlet)) => {
            format!("{} {}", w.proposed_to, language.term(outlet.word()))
        }
        (Undersize::Yes, None) => w.proposed_nowhere.to_owned(),
    }
}

/// The language of a sentence, where it is not the page's: the rules speak English.
pub(super) fn lang(is_ours: bool) -> &'static str {
    if is_ours { "" } else { "en" }
}

impl Checked {
    /// As a script is told it.
    pub(super) fn told(&self) -> Value {
        let said = |(text, is_ours): &Said| json!({"text": text, "lang": lang(*is_ours)});
        let line = |line: &Line| {
            json!({
                "fish": line.fish, "band": line.band, "pieces": line.pieces, "net": line.net,
                "price": line.price, "amount": line.amount, "held": line.is_held,
                "small": line.small, "reason": said(&line.small_reason),
                "minor": line.amount_minor,
            })
        };
        let found = |of: &Found| {
            let texts: Vec<Value> = of.texts.iter().map(said).collect();
            json!({"standing": of.standing, "rules": of.rules, "texts": texts})
        };
        let question =
            |of: &Question| json!({"code": of.code, "text": of.text, "lang": lang(of.is_ours)});
        json!({
            "lines": self.lines.iter().map(line).collect::<Vec<_>>(),
            "seen": self.seen,
            "found": self.found.iter().map(found).collect::<Vec<_>>(),
            "probe_again": self.probe_again,
            "not_bought": self.not_bought,
            "net": self.net,
            "payout": self.payout,
            "minor": self.payout_minor,
            "held": self.held,
            "cautions": self.cautions.iter().map(said).collect::<Vec<_>>(),
            "warnings": self.warnings.iter().map(said).collect::<Vec<_>>(),
            "questions": self.questions.iter().map(question).collect::<Vec<_>>(),
        })
    }

    #[cfg(test)]
    pub(super) fn sample(language: Language) -> Checked {
        Checked {
            lines: vec![Line {
                fish: String::new(),
                band: "undersize, 0.00 to under 0.50 lb".to_owned(),
                pieces: "30".to_owned(),
                net: "12.00 lb".to_owned(),
                price: "1.25 USD/lb".to_owned(),
                amount: "15.00 USD".to_owned(),
                is_held: true,
                small: "proposed to soup-grade".to_owned(),
                small_reason: ("Gutted and head-off first.".to_owned(), false),
                amount_minor: 1500,
            }],
            seen: vec![("Iced at".to_owned(), "2031-05-02 14:20".to_owned())],
            found: vec![Found {
                standing: language.term("not set"),
                rules: language.term("season").to_owned(),
                texts: Vec::new(),
            }],
            probe_again: vec!["probe it again by 2031-05-02 18:32".to_owned()],
            not_bought: vec![("3.00 lb".to_owned(), language.term("refused"))],
            net: "12.00 lb".to_owned(),
            payout: "15.00 USD".to_owned(),
            held: "1.00 USD".to_owned(),
            cautions: vec![("The spines stay venomous.".to_owned(), false)],
            warnings: vec![("Odd.".to_owned(), false)],
            questions: vec![Question {
                code: "cull".to_owned(),
                text: "Cull?".to_owned(),
                is_ours: false,
            }],
            payout_minor: 1500,
        }
    }
}
