//! A ticket worked out of a weigh-in.
//!
//! Fish of one lot alike in band, grade, condition and hold is one part and one
//! line; a line is its net times its band's price, rounded to the cent once, and
//! never sliding.
//!
//! - Bands by piece: a fish weighed by itself, or the mean of its tote.
//! - Bands by lot: the accepted net of the species, presentation and grade on the
//!   ticket. What is held counts; what is refused or taken home does not.
//! - Undersize is a part's mean piece below the plate minimum. Where bands are
//!   found by piece that is the same as its band lying below it, since the plate
//!   minimum is an edge; where they are found by lot only the mean tells, and a
//!   part that was not wholly counted is "not known".
//!
//! Which list was in force, whether the caller may, and what is already on file
//! are the desk's. Beside this file: `net` weighs, `pay` adds up and adjusts,
//! `rewrite` keeps codes, `instant` finds the price instant, `refusal` says why
//! there is no ticket.

use std::collections::BTreeMap;

use super::caution::cautions;
use super::net::{Fish, scale_notices, sum_nets, weigh};
use super::pay::pay;
use super::plausible::{other_unit, this_long};
use super::rewrite::{PartNumbers, Places};
use super::{
    AdjustBy, Decision, Line, LotIn, Net, NotBought, NotBoughtWhy, Notice, NoticeKind, Pieces,
    Share, SmallFish, Ticket, TicketLot, WeighIn, Weighing, split,
};
use crate::agreed_price::{AgreedPrice, agreed_for};

use crate::fish::{Condition, Grade, Outlet, PartKey, Presentation, Undersize};
use crate::ids::{DayNumber, MOST_LOTS};
use crate::money::{Currency, Money, UnitPrice};
use crate::office::{Scale, Settings, Site, Species, Tote};
use crate::price_list::{Band, BandBy, GradePrices, PresentationPrices, PriceList, mean_is_below};
use crate::receiving::Received;
use crate::undersize;
use crate::weight::{HEAVIEST, Weight};

pub use super::instant::price_instant;
pub use super::plausible::{CountedFish, USUAL_LOTS, Usual};
pub use super::refusal::{
    At, MOST_PIECE_READINGS, MOST_PIECES, MOST_WEIGHINGS, MoneyAt, ReadingOf, Refusal, RefusalKind,
};
pub use super::rewrite::{GivenBack, Prior, PriorLot, Source, carry_over};

/// What a ticket is worked out against.
#[derive(Debug, Clone)]
pub struct OnFile<'a> {
    /// The site.
    pub site: &'a Site,
    /// Its settings in force.
    pub settings: &'a Settings,
    /// Business day of the price instant, `YYYYMMDD`.
    pub day: DayNumber,
    /// Species of the lots, at least.
    pub species: Vec<&'a Species>,
    /// Scales of the readings, at least.
    pub scales: Vec<&'a Scale>,
    /// For each species that has one, the list in force at the price instant
    /// with the entry that posted it.
    pub price_lists: Vec<(i64, &'a PriceList)>,
    /// What was agreed with the diver, each with the entry that recorded it.
    pub agreed: Vec<(i64, &'a AgreedPrice)>,
    /// Named totes of the readings, at least.
    pub totes: Vec<&'a Tote>,
    /// What is usual, for species and presentations of which it is known.
    pub usual: &'a [Usual],
    /// The ticket whose place this one takes.
    pub prior: Option<&'a Prior>,
}

/// Works out a ticket whose price instant is `priced_us`; a rewrite keeps the
/// old ticket's instead.
///
/// # Errors
/// [`Refusal`]: the first thing that is wrong.
pub fn ticket(asked: &WeighIn, file: &OnFile<'_>, priced_us: i64) -> Result<Ticket, Refusal> {
    if asked.lots.is_empty() {
        return Err(Refusal::NoLots);
    }
    if nth(asked.lots.len().saturating_sub(1)) > MOST_LOTS {
        return Err(Refusal::TooManyLots {
            lots: asked.lots.len(),
        });
    }
    check_money(asked, file.site.currency)?;
    let lots = asked
        .lots
        .iter()
        .enumerate()
        .map(|(position, written)| weigh_lot(position, written, file))
        .collect::<Result<Vec<_>, _>>()?;
    let accepted = accepted_nets(&lots);

    let nothing = Money::zero(file.site.currency);
    let mut ticket = Ticket {
        priced_us: file.prior.map_or(priced_us, |prior| prior.priced_us),
        number: file
            .prior
            .map_or(asked.lot_number, |prior| Some(prior.number)),
        lots: Vec::with_capacity(lots.len()),
        lines: Vec::new(),
        not_bought: Vec::new(),
        adjustments: Vec::new(),
        lines_total: nothing,
        payout: nothing,
        owed: nothing,
        held: nothing,
        undersize: Weight::ZERO,
        notices: Vec::new(),
        released: Vec::new(),
        shares: Vec::new(),
    };
    let mut places = Places::new(file.prior, asked);
    for lot in &lots {
        write_lot(&mut ticket, asked, lot, &mut places, &accepted, file)?;
    }
    let small = ticket
        .lines
        .iter()
        .filter(|line| line.undersize == Undersize::Yes);
    ticket.undersize = small.map(|line| line.net).sum();
    pay(&mut ticket, asked)?;
    split::check(&asked.payees, ticket.payout)?;
    if !asked.payees.is_empty() {
        let (owed, held) = (ticket.owed, ticket.held);
        ticket.shares = split::split(&asked.harvester, &asked.payees, owed, held);
    }

    let handled: Vec<&Species> = lots.iter().map(|lot| lot.species).collect();
    let bought = lots
        .iter()
        .filter(|lot| !lot.parts.is_empty())
        .map(|lot| lot.species);
    let bought: Vec<&Species> = bought.collect();
    let donated = ticket
        .lines
        .iter()
        .any(|line| line.proposed == Some(Outlet::Donation));
    let mut notices = cautions(&handled, &bought, donated);
    notices.append(&mut ticket.notices);
    notices.extend(scale_notices(asked, file));
    ticket.notices = notices;
    Ok(ticket)
}

/// The site's currency only, and nothing that cannot be printed.
fn check_money(asked: &WeighIn, site: Currency) -> Result<(), Refusal> {
    let check = |at: MoneyAt, given: Currency| {
        if given == site {
            Ok(())
        } else {
            Err(Refusal::OtherCurrency { at, site, given })
        }
    };
    if let Some(payout) = asked.offline_payout {
        check(MoneyAt::OfflinePayout, payout.currency())?;
        if payout.minor() < 0 {
            return Err(Refusal::OfflinePayoutNegative { payout });
        }
    }
    for (n, payee) in asked.payees.iter().enumerate() {
        if let Share::Fixed(fixed) = payee.share {
            check(MoneyAt::Payee(n), fixed.currency())?;
        }
    }
    for (n, adjustment) in asked.adjustments.iter().enumerate() {
        if adjustment.name.trim().is_empty() {
            return Err(Refusal::AdjustmentUnnamed { adjustment: n });
        }
        match adjustment.by {
            AdjustBy::PerWeight(price) => check(MoneyAt::PerWeight(n), price.currency())?,
            AdjustBy::Flat(money) => check(MoneyAt::Flat(n), money.currency())?,
            AdjustBy::Ppm(_) => {}
        }
    }
    Ok(())
}

/// A lot with its nets, sorted into parts.
struct WeighedLot<'a> {
    position: usize,
    written: &'a LotIn,
    species: &'a Species,
    /// Entry and list; none where the lot was refused.
    list: Option<(i64, &'a PriceList)>,
    weighed: Vec<Net>,
    /// What is bought, in order of first appearance.
    parts: Vec<Part<'a>>,
    taken_home: Weight,
    /// About what is in no part.
    notices: Vec<Notice>,
}

/// Fish of a lot alike in band, grade, condition and hold.
struct Part<'a> {
    grade: &'a Grade,
    condition: Option<Condition>,
    prices: &'a GradePrices,
    band: Banded<'a>,
    net: Weight,
    ice: Weight,
    pieces: Pieces,
    undersize: Undersize,
    notices: Vec<Notice>,
}

/// How a part found its price.
#[derive(Clone, Copy)]
enum Banded<'a> {
    /// By the mean piece: number from 1, and the band.
    Piece(i64, &'a Band),
    /// Not counted, at the list's price for that.
    NotCounted(UnitPrice),
    /// By lot: known once every lot is weighed.
    Lot,
}

impl Banded<'_> {
    /// Number of the band in the part's key, as far as it is known.
    const fn number(self) -> i64 {
        match self {
            Banded::Piece(number, _) => number,
            Banded::NotCounted(_) | Banded::Lot => 0,
        }
    }
}

fn weigh_lot<'a>(
    position: usize,
    written: &'a LotIn,
    file: &OnFile<'a>,
) -> Result<WeighedLot<'a>, Refusal> {
    check_lot(position, written)?;
    let species = file
        .species
        .iter()
        .find(|species| species.code == written.species)
        .ok_or_else(|| Refusal::UnknownSpecies {
            lot: position,
            species: written.species.clone(),
        })?;
    let buying = match written.receiving.decision {
        Decision::Accept | Decision::Hold => Some(buying(position, written, file)?),
        Decision::Refuse => None,
    };
    let mut lot = WeighedLot {
        position,
        written,
        species,
        list: buying.map(|(entry, list, _)| (entry, list)),
        weighed: Vec::with_capacity(written.weighings.len()),
        parts: Vec::new(),
        taken_home: Weight::ZERO,
        notices: Vec::new(),
    };
    let mut counted: i64 = 0;
    let mut judged = CountedFish {
        net: Weight::ZERO,
        pieces: 0,
    };
    let mut unit = None;
    for (n, weighing) in written.weighings.iter().enumerate() {
        let at = At {
            lot: position,
            weighing: n,
        };
        let mut fish = weigh(at, weighing, file)?;
        for fish in &mut fish {
            let presentation = written.presentation;
            let asks = this_long(at, fish, species, presentation, file.settings);
            fish.notices.extend(asks);
            unit = unit.or(Some(fish.unit));
            if let Pieces::Counted(n) = fish.pieces {
                judged.net = [judged.net, fish.net.net].into_iter().sum();
                judged.pieces = judged.pieces.saturating_add(n);
            }
        }
        counted = fish.iter().fold(counted, |sum, fish| match fish.pieces {
            Pieces::Counted(n) | Pieces::Estimated(n) => sum.saturating_add(n),
            Pieces::NotCounted => sum,
        });
        lot.weighed.push(sum_nets(&fish));
        for fish in fish {
            match buying {
                Some((_, list, prices)) => sort_fish(&mut lot, at, weighing, fish, list, prices)?,
                None => lot.notices.extend(fish.notices),
            }
        }
    }
    if counted > MOST_PIECES {
        return Err(Refusal::TooManyPieces { lot: position });
    }
    if lot.weighed.iter().map(|net| net.net).sum::<Weight>() > HEAVIEST {
        return Err(Refusal::LotTooHeavy { lot: position });
    }
    if let Some((_, _, prices)) = buying {
        judge_size(&mut lot, prices);
    }
    let usual = file.usual.iter().find(|usual| {
        usual.species == written.species && usual.presentation == written.presentation
    });
    if let (Some(usual), Some(unit)) = (usual, unit) {
        let asks = other_unit(position, judged, unit, &usual.lots, file.settings);
        lot.notices.extend(asks);
    }
    Ok(lot)
}

fn check_lot(position: usize, written: &LotIn) -> Result<(), Refusal> {
    let weighings = written.weighings.len();
    if weighings == 0 {
        return Err(Refusal::NoWeighings { lot: position });
    }
    if weighings > MOST_WEIGHINGS {
        return Err(Refusal::TooManyWeighings {
            lot: position,
            weighings,
        });
    }
    let receiving = &written.receiving;
    if receiving.decision != Decision::Accept && receiving.reason.trim().is_empty() {
        return Err(Refusal::ReasonMissing { lot: position });
    }
    if receiving.decision == Decision::Refuse && receiving.corrective_action.trim().is_empty() {
        return Err(Refusal::CorrectiveActionMissing { lot: position });
    }
    Ok(())
}

/// The list in force for a lot, and its prices of the lot's presentation.
fn buying<'a>(
    position: usize,
    written: &LotIn,
    file: &OnFile<'a>,
) -> Result<(i64, &'a PriceList, &'a PresentationPrices), Refusal> {
    let (entry, list) = file
        .price_lists
        .iter()
        .copied()
        .find(|(_, list)| list.species == written.species)
        .ok_or_else(|| Refusal::NoPriceList {
            lot: position,
            species: written.species.clone(),
        })?;
    let site = file.site.currency;
    if list.currency != site {
        return Err(Refusal::PriceListCurrency {
            lot: position,
            site,
            list: list.currency,
        });
    }
    let presentation = written.presentation;
    let prices = list
        .presentation(presentation)
        .ok_or(Refusal::PresentationNotPriced {
            lot: position,
            presentation,
        })?;
    Ok((entry, list, prices))
}

/// Puts fish into the part it is alike with.
fn sort_fish<'a>(
    lot: &mut WeighedLot<'a>,
    at: At,
    weighing: &'a Weighing,
    mut fish: Fish<'_>,
    list: &PriceList,
    presentation: &'a PresentationPrices,
) -> Result<(), Refusal> {
    let grade = &weighing.grade;
    let prices = presentation
        .grade(grade)
        .ok_or_else(|| Refusal::GradeNotPriced {
            at,
            presentation: presentation.presentation,
            grade: grade.clone(),
        })?;
    let band = match (list.band_by, fish.pieces) {
        (BandBy::Lot, _) => Banded::Lot,
        (BandBy::Piece, Pieces::NotCounted) => {
            Banded::NotCounted(prices.not_counted.ok_or(Refusal::NotCounted { at })?)
        }
        (BandBy::Piece, Pieces::Counted(n) | Pieces::Estimated(n)) => {
            // A checked list has a band for every weight.
            let (number, band) = prices
                .band_of_mean(fish.net.net, n)
                .ok_or(Refusal::NotCounted { at })?;
            Banded::Piece(number, band)
        }
    };
    fish.notices.extend(cull_question(at, &fish, presentation));
    let alike = lot.parts.iter_mut().find(|part| {
        part.band.number() == band.number()
            && part.grade == grade
            && part.condition == weighing.condition
    });
    if let Some(part) = alike {
        part.net = [part.net, fish.net.net].into_iter().sum();
        part.ice = [part.ice, fish.net.ice].into_iter().sum();
        part.pieces = part.pieces.together(fish.pieces);
        part.notices.extend(fish.notices);
        return Ok(());
    }
    lot.parts.push(Part {
        grade,
        condition: weighing.condition,
        prices,
        band,
        net: fish.net.net,
        ice: fish.net.ice,
        pieces: fish.pieces,
        undersize: Undersize::No,
        notices: fish.notices,
    });
    Ok(())
}

/// Asks to cull a tote whose mean lies close to the plate minimum: within two
/// divisions of the tote's scale, or 3 % of its net, whichever is more.
fn cull_question(at: At, fish: &Fish<'_>, prices: &PresentationPrices) -> Option<Notice> {
    // One fish cannot be culled.
    let (Pieces::Counted(n) | Pieces::Estimated(n)) = fish.pieces else {
        return None;
    };
    if n < 2 || !prices.presentation.is_fish() {
        return None;
    }
    let net = i128::from(fish.net.net.units());
    let edge = i128::from(prices.plate_minimum.units()).checked_mul(i128::from(n))?;
    let apart = net.checked_sub(edge)?.checked_abs()?.checked_mul(100)?;
    let divisions = fish
        .scale
        .map_or(0, |scale| i128::from(scale.division.weight.units()));
    let close = divisions.checked_mul(200)?.max(net.checked_mul(3)?);
    (apart <= close).then(|| {
        Notice::of(
            NoticeKind::Question,
            "cull",
            format!(
                "{at}: {n} fish at {} {unit}, close to the plate minimum of {} {unit} each. Cull the small ones?",
                fish.net.net.shown(fish.unit),
                prices.plate_minimum.shown(fish.unit),
                unit = fish.unit.symbol(),
            ),
        )
    })
}

/// Judges each part by the plate minimum, and takes out what the diver takes
/// home.
fn judge_size(lot: &mut WeighedLot<'_>, prices: &PresentationPrices) {
    for part in &mut lot.parts {
        part.undersize = match part.pieces {
            _ if !prices.presentation.is_fish() => Undersize::No,
            Pieces::NotCounted => Undersize::NotKnown,
            Pieces::Counted(n) | Pieces::Estimated(n) => {
                if mean_is_below(part.net, n, prices.plate_minimum) {
                    Undersize::Yes
                } else {
                    Undersize::No
                }
            }
        };
    }
    if lot.written.small_fish == SmallFish::TakeHome {
        let (home, kept): (Vec<_>, Vec<_>) = std::mem::take(&mut lot.parts)
            .into_iter()
            .partition(|part| part.undersize == Undersize::Yes);
        lot.parts = kept;
        lot.taken_home = home.iter().map(|part| part.net).sum();
        lot.notices
            .extend(home.into_iter().flat_map(|part| part.notices));
    }
}

/// Accepted net of each species, presentation and grade: what finds a band by
/// lot.
type Accepted<'a> = BTreeMap<(&'a str, Presentation, &'a Grade), Weight>;

fn accepted_nets<'a>(lots: &[WeighedLot<'a>]) -> Accepted<'a> {
    let mut accepted = Accepted::new();
    for lot in lots {
        for part in &lot.parts {
            let key = (
                lot.written.species.as_str(),
                lot.written.presentation,
                part.grade,
            );
            let sum = accepted.entry(key).or_default();
            *sum = [*sum, part.net].into_iter().sum();
        }
    }
    accepted
}

/// Writes a lot, its lines and what of it was not bought on the ticket.
fn write_lot(
    ticket: &mut Ticket,
    asked: &WeighIn,
    lot: &WeighedLot<'_>,
    places: &mut Places<'_>,
    accepted: &Accepted<'_>,
    file: &OnFile<'_>,
) -> Result<(), Refusal> {
    let n = nth(lot.position);
    let mut place = None;
    if let Some((_, list)) = lot.list.filter(|_| !lot.parts.is_empty()) {
        let (taken, mut numbers) = places
            .take(n, asked, lot.written)
            .ok_or(Refusal::NoPlaceLeft { lot: lot.position })?;
        place = Some(taken);
        for part in &lot.parts {
            let line = line(
                lot,
                part,
                list,
                &mut numbers,
                accepted,
                file,
                ticket.priced_us,
            )?;
            ticket.lines.push(line);
            let at = nth(ticket.lines.len().saturating_sub(1));
            let notices = part.notices.iter().cloned();
            ticket
                .notices
                .extend(notices.map(|notice| Notice { line: at, ..notice }));
        }
    }
    ticket.notices.extend(lot.notices.iter().cloned());
    ticket.lots.push(TicketLot {
        n,
        place,
        species_name: lot.species.name.clone(),
        price_list: lot.list.map_or(0, |(entry, _)| entry),
        weighed: lot.weighed.clone(),
        received: Received::default(),
    });
    if lot.written.receiving.decision == Decision::Refuse {
        ticket.not_bought.push(NotBought {
            lot: n,
            net: lot.weighed.iter().map(|net| net.net).sum(),
            why: NotBoughtWhy::Refused,
            reason: lot.written.receiving.reason.clone(),
            corrective_action: lot.written.receiving.corrective_action.clone(),
        });
    }
    if !lot.taken_home.is_zero() {
        ticket.not_bought.push(NotBought {
            lot: n,
            net: lot.taken_home,
            why: NotBoughtWhy::TakenHome,
            reason: "Below the plate minimum; the diver took it home.".to_owned(),
            corrective_action: String::new(),
        });
    }
    Ok(())
}

fn line(
    lot: &WeighedLot<'_>,
    part: &Part<'_>,
    list: &PriceList,
    numbers: &mut PartNumbers,
    accepted: &Accepted<'_>,
    file: &OnFile<'_>,
    priced_us: i64,
) -> Result<Line, Refusal> {
    let written = lot.written;
    let by_lot = || {
        let key = (written.species.as_str(), written.presentation, part.grade);
        part.prices
            .band_of_piece(accepted.get(&key).copied().unwrap_or_default())
    };
    let (number, band, list_price) = match part.band {
        Banded::Piece(number, band) => (number, Some(band), band.price),
        Banded::NotCounted(price) => (0, None, price),
        Banded::Lot => {
            // A checked list has a band for every weight.
            let (number, band) = by_lot().ok_or(Refusal::LotTooHeavy { lot: lot.position })?;
            (number, Some(band), band.price)
        }
    };
    let held = written.receiving.decision == Decision::Hold;
    let given = part.undersize == Undersize::Yes && written.small_fish == SmallFish::Give;
    let agreed = agreed_for(
        &file.agreed,
        &written.species,
        written.presentation,
        part.grade,
        part.undersize,
        priced_us,
    )
    .filter(|_| !given);
    let before_condition = agreed.as_ref().map_or(list_price, |agreed| agreed.price);
    if before_condition.per() != list_price.per() {
        return Err(Refusal::AgreedPriceUnit {
            lot: lot.position,
            agreed: before_condition.per(),
            list: list_price.per(),
        });
    }
    let price = if given {
        UnitPrice::from_e4(0, list_price.currency(), list_price.per())
    } else {
        list.price_in_condition(before_condition, part.condition)
    };
    let price = price.map_err(|_| Refusal::AmountTooLarge)?;
    let (proposed, proposed_reason) = if part.undersize == Undersize::Yes {
        undersize::propose(
            lot.species,
            written.presentation,
            part.condition,
            written.receiving.decision,
            written.small_fish,
            file.settings,
        )
    } else {
        (None, String::new())
    };
    let key = PartKey {
        band: number,
        grade: part.grade.clone(),
        condition: part.condition,
        held,
    };
    Ok(Line {
        lot: nth(lot.position),
        part: numbers.of(&key),
        band: number,
        band_name: band.map_or("not counted", |band| &band.name).to_owned(),
        band_from: band.map_or(Weight::ZERO, |band| band.from),
        band_to: band.and_then(|band| band.to),
        grade: key.grade,
        condition: key.condition,
        held,
        pieces: part.pieces,
        net: part.net,
        ice: part.ice,
        list_price,
        price,
        amount: price.amount(part.net).ok_or(Refusal::AmountTooLarge)?,
        undersize: part.undersize,
        proposed,
        proposed_reason,
        agreed,
    })
}

/// A position counted from 0 as people count, from 1.
fn nth(position: usize) -> i64 {
    i64::try_from(position).map_or(i64::MAX, |position| position.saturating_add(1))
}

#[cfg(test)]
mod tests;
