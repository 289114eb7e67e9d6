//! What was sent and what was said to it, and whether the book agrees: every deed
//! that was answered is in the book once, and none that was refused is.

use std::collections::BTreeMap;

use proto::v1;
use proto::v1::audit_service_client::AuditServiceClient;
use proto::v1::catch_up_request::Item;
use proto::v1::close_service_client::CloseServiceClient;
use proto::v1::codes_service_client::CodesServiceClient;
use proto::v1::deed::Deed;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::office_service_client::OfficeServiceClient;
use proto::v1::outlet_service_client::OutletServiceClient;
use proto::v1::receiving_service_client::ReceivingServiceClient;
use proto::v1::settlement_service_client::SettlementServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use proto::v1::yield_service_client::YieldServiceClient;
use tokio::task::JoinSet;
use tokio_stream::StreamExt as _;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::dock::id_of;
use crate::harness::Keyed;

/// Hands every arm of `Deed` to a macro.
macro_rules! each_deed {
    ($with:ident) => {
        $with!(WeighIn VoidTicket Hold Release Regrade Movement CustomerReturn Making Count Site
            Party Species Scale Tote Device Settings PriceList AcknowledgeFlag RequestCodes
            Reprobe Reweigh AgreedPrice Settle Advance Charge DrawerCount Dispute AnswerDispute
            TakeBack Baseline Room Choice Plan AnswerYield)
    };
}
pub(crate) use each_deed;

/// What the book said of a deed, by whichever way it was sent.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Booked {
    /// Absent for a ticket, whose id it is.
    pub(crate) recorded: Option<v1::Recorded>,
    pub(crate) ticket: Option<v1::Ticket>,
    pub(crate) lots: Vec<String>,
    pub(crate) hold: String,
    pub(crate) block: Option<v1::CodeBlock>,
}

impl Booked {
    pub(crate) fn entry(&self) -> String {
        match (&self.ticket, &self.recorded) {
            (Some(ticket), _) => ticket.id.clone(),
            (None, recorded) => recorded.as_ref().unwrap().entry_id.clone(),
        }
    }
}

/// What was said to a deed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Told {
    Booked(Box<Booked>),
    /// By this rule; nothing was booked.
    Refused(String),
    /// It may have been booked, and its repeat will tell.
    Nothing,
}

fn told(code: Code, reason: String, message: &str, booked: Booked) -> Told {
    match code {
        Code::Ok => Told::Booked(Box::new(booked)),
        Code::InvalidArgument
        | Code::FailedPrecondition
        | Code::NotFound
        | Code::AlreadyExists
        | Code::PermissionDenied => Told::Refused(reason),
        // The channel's own word for a connection that broke is one of these.
        Code::Unavailable | Code::Cancelled | Code::Unknown | Code::DeadlineExceeded => {
            Told::Nothing
        }
        code => panic!("{code:?} {reason}: {message}"),
    }
}

fn told_by_status(status: &Status) -> Told {
    let reason = status.get_details_error_info();
    let reason = reason.map_or_else(String::new, |info| info.reason);
    // What h2 says of a connection that is gone.
    if status.code() == Code::Internal && reason.is_empty() {
        return Told::Nothing;
    }
    told(status.code(), reason, status.message(), Booked::default())
}

fn told_in_stream(answer: v1::CatchUpResponse) -> Told {
    let booked = Booked {
        recorded: answer.recorded.filter(|_| answer.ticket.is_none()),
        ticket: answer.ticket,
        lots: answer.lot_codes,
        hold: answer.hold_id,
        block: answer.code_block,
    };
    told(
        Code::from_i32(answer.code),
        answer.reason,
        &answer.message,
        booked,
    )
}

pub(crate) fn item(deed: Deed) -> v1::CatchUpRequest {
    let deed = v1::Deed { deed: Some(deed) };
    v1::CatchUpRequest {
        item: Some(Item::Deed(deed)),
    }
}

/// Sends deeds in one stream; what was answered before it ended is told.
pub(crate) async fn by_stream(channel: &Keyed, deeds: &[Deed]) -> Vec<Told> {
    let items: Vec<_> = deeds.iter().cloned().map(item).collect();
    let mut client = IntakeServiceClient::new(channel.clone());
    let mut all = Vec::new();
    if let Ok(answers) = client.catch_up(tokio_stream::iter(items)).await {
        let mut answers = answers.into_inner();
        while let Some(Ok(answer)) = answers.next().await {
            assert_eq!(answer.request_id, id_of(&deeds[all.len()]), "in order");
            all.push(told_in_stream(answer));
        }
    }
    all.resize(deeds.len(), Told::Nothing);
    all
}

/// Sends deeds in one stream and hangs up after `answers` of them were answered.
pub(crate) async fn cut_stream(channel: &Keyed, deeds: &[Deed], answers: usize) -> Vec<Told> {
    let items: Vec<_> = deeds.iter().cloned().map(item).collect();
    let mut client = IntakeServiceClient::new(channel.clone());
    let mut all = Vec::new();
    // Never-ending, so that only hanging up ends it.
    let items = tokio_stream::iter(items).chain(tokio_stream::pending());
    if let Ok(stream) = client.catch_up(items).await {
        let mut stream = stream.into_inner();
        while all.len() < answers.min(deeds.len()) {
            let Some(Ok(answer)) = stream.next().await else {
                break;
            };
            all.push(told_in_stream(answer));
        }
    }
    all.resize(deeds.len(), Told::Nothing);
    all
}

/// Sends deeds each by its own method, `at_once` at a time.
pub(crate) async fn by_method(channel: &Keyed, deeds: &[Deed], at_once: usize) -> Vec<Told> {
    let mut all = vec![Told::Nothing; deeds.len()];
    let mut under_way = JoinSet::new();
    for (i, deed) in deeds.iter().cloned().enumerate() {
        if under_way.len() >= at_once {
            let (i, told) = under_way.join_next().await.unwrap().unwrap();
            all[i] = told;
        }
        let channel = channel.clone();
        under_way.spawn(async move { (i, one(channel, deed).await) });
    }
    while let Some(done) = under_way.join_next().await {
        let (i, told) = done.unwrap();
        all[i] = told;
    }
    all
}

/// Sends a deed by its own method, once.
pub(crate) async fn one(channel: Keyed, deed: Deed) -> Told {
    match attempt(channel, deed).await {
        Ok(booked) => Told::Booked(Box::new(booked)),
        Err(status) => told_by_status(&status),
    }
}

/// The same, with the status it was answered with.
pub(crate) async fn attempt(channel: Keyed, deed: Deed) -> Result<Booked, Status> {
    let mut intake = IntakeServiceClient::new(channel.clone());
    let mut stock = StockServiceClient::new(channel.clone());
    let mut office = OfficeServiceClient::new(channel.clone());
    let mut money = SettlementServiceClient::new(channel.clone());
    let mut closes = CloseServiceClient::new(channel.clone());
    let mut receiving = ReceivingServiceClient::new(channel.clone());
    let mut outlets = OutletServiceClient::new(channel.clone());
    let mut yields = YieldServiceClient::new(channel.clone());
    let mut codes = CodesServiceClient::new(channel);
    macro_rules! plain {
        ($client:ident . $method:ident($request:ident)) => {
            Booked {
                recorded: $client.$method($request).await?.into_inner().recorded,
                ..Booked::default()
            }
        };
    }
    let full = |lots: Vec<String>| lots.into_iter().filter(|lot| !lot.is_empty()).collect();
    Ok(match deed {
        Deed::WeighIn(r) => {
            let ticket = intake.record_weigh_in(r).await?.into_inner().ticket;
            Booked {
                ticket,
                ..Booked::default()
            }
        }
        Deed::VoidTicket(r) => plain!(intake.void_ticket(r)),
        Deed::Hold(r) => {
            let answer = stock.hold_part(r).await?.into_inner();
            Booked {
                recorded: answer.recorded,
                hold: answer.hold_id,
                ..Booked::default()
            }
        }
        Deed::Release(r) => plain!(stock.release_hold(r)),
        Deed::Regrade(r) => plain!(stock.regrade_part(r)),
        Deed::Movement(r) => plain!(stock.record_movement(r)),
        Deed::CustomerReturn(r) => plain!(stock.record_return(r)),
        Deed::Making(r) => {
            let answer = stock.record_making(r).await?.into_inner();
            let made = answer.making.unwrap_or_default().outputs;
            Booked {
                recorded: answer.recorded,
                lots: full(made.into_iter().map(|made| made.lot_code).collect()),
                ..Booked::default()
            }
        }
        Deed::Count(r) => {
            let answer = stock.record_count(r).await?.into_inner();
            Booked {
                recorded: answer.recorded,
                lots: full(vec![answer.pool_lot_code]),
                ..Booked::default()
            }
        }
        Deed::RequestCodes(r) => {
            let answer = codes.request_codes(r).await?.into_inner();
            Booked {
                recorded: answer.recorded,
                block: answer.block,
                ..Booked::default()
            }
        }
        Deed::Site(r) => plain!(office.record_site(r)),
        Deed::Party(r) => plain!(office.record_party(r)),
        Deed::Species(r) => plain!(office.record_species(r)),
        Deed::Scale(r) => plain!(office.record_scale(r)),
        Deed::Tote(r) => plain!(office.record_tote(r)),
        Deed::Device(r) => plain!(office.record_device(r)),
        Deed::Settings(r) => plain!(office.record_settings(r)),
        Deed::PriceList(r) => plain!(office.post_price_list(r)),
        Deed::AgreedPrice(r) => plain!(office.record_agreed_price(r)),
        Deed::Baseline(r) => plain!(office.record_baseline(r)),
        Deed::Room(r) => plain!(outlets.record_room(r)),
        Deed::Choice(r) => plain!(outlets.record_choice(r)),
        Deed::Plan(r) => plain!(outlets.record_plan(r)),
        Deed::AcknowledgeFlag(r) => plain!(closes.acknowledge_flag(r)),
        Deed::Reprobe(r) => plain!(receiving.record_reprobe(r)),
        Deed::Reweigh(r) => plain!(stock.record_reweigh(r)),
        Deed::Settle(r) => plain!(money.settle(r)),
        Deed::Advance(r) => plain!(money.record_advance(r)),
        Deed::Charge(r) => plain!(money.record_charge(r)),
        Deed::DrawerCount(r) => plain!(money.record_drawer_count(r)),
        Deed::Dispute(r) => plain!(money.dispute_line(r)),
        Deed::AnswerDispute(r) => plain!(money.answer_dispute(r)),
        Deed::TakeBack(r) => plain!(money.take_back(r)),
        Deed::AnswerYield(r) => plain!(yields.answer_yield(r)),
    })
}

/// Everything that was sent, with the last word on it.
#[derive(Default)]
pub(crate) struct Ledger {
    deeds: BTreeMap<String, (Deed, Told)>,
    /// Answers that came again and were the same.
    pub(crate) repeats: usize,
}

impl Ledger {
    /// Takes in what was said; a deed that was booked keeps its first answer, and every
    /// other answer to it must be the same. Gives back what became known now.
    pub(crate) fn write(&mut self, deeds: &[Deed], told: Vec<Told>) -> Vec<(Deed, Booked)> {
        let mut news = Vec::new();
        for (deed, told) in deeds.iter().zip(told) {
            let id = id_of(deed);
            let before = self.deeds.get(&id).map(|(_, told)| told.clone());
            match (before, told) {
                (Some(Told::Booked(_)), Told::Nothing) => {}
                (Some(Told::Booked(first)), Told::Booked(again)) => {
                    assert_eq!(first, again, "a repeat gets the first answer");
                    self.repeats += 1;
                }
                (Some(Told::Booked(first)), told) => {
                    panic!("booked as {first:?} and then answered {told:?}")
                }
                (_, told) => {
                    if let Told::Booked(booked) = &told {
                        news.push((deed.clone(), (**booked).clone()));
                    }
                    self.deeds.insert(id, (deed.clone(), told));
                }
            }
        }
        news
    }

    /// What nothing was said to.
    pub(crate) fn open(&self) -> Vec<Deed> {
        self.that_are(|told| matches!(told, Told::Nothing))
    }

    /// What was answered as booked.
    pub(crate) fn booked(&self) -> Vec<Deed> {
        self.that_are(|told| matches!(told, Told::Booked(_)))
    }

    fn that_are(&self, which: impl Fn(&Told) -> bool) -> Vec<Deed> {
        let those = self.deeds.values().filter(|(_, told)| which(told));
        those.map(|(deed, _)| deed.clone()).collect()
    }

    pub(crate) fn len(&self) -> usize {
        self.deeds.len()
    }

    /// Holds it against the book, which lists `entries`: what was answered is there,
    /// once, as the entry that was said; what was refused is not there; and nothing is
    /// there twice.
    pub(crate) fn hold_against(&self, entries: &[v1::Entry]) {
        let mut listed: BTreeMap<&str, &str> = BTreeMap::new();
        for entry in entries {
            let twice = listed.insert(&entry.request_id, &entry.id);
            assert_eq!(twice, None, "{} is booked twice", entry.request_id);
        }
        for (id, (deed, told)) in &self.deeds {
            let found = listed.get(id.as_str()).copied();
            match told {
                Told::Booked(booked) => {
                    assert_eq!(found, Some(booked.entry().as_str()), "answered: {deed:?}");
                }
                Told::Refused(rule) => assert_eq!(found, None, "refused by {rule}: {deed:?}"),
                Told::Nothing => {}
            }
        }
    }
}

/// Every entry of these business days, of the site and of what all sites share.
pub(crate) async fn entries(channel: &Keyed, month: i32, days: &[i32]) -> Vec<v1::Entry> {
    let mut client = AuditServiceClient::new(channel.clone());
    let mut all = Vec::new();
    for site in [0, 1] {
        for day in days {
            let mut request = v1::ListEntriesRequest {
                site,
                day: Some(proto::google::r#type::Date {
                    year: 2031,
                    month,
                    day: *day,
                }),
                page_size: 200,
                page_token: String::new(),
            };
            loop {
                let page = client.list_entries(request.clone()).await.unwrap();
                let page = page.into_inner();
                all.extend(page.entries);
                if page.next_page_token.is_empty() {
                    break;
                }
                request.page_token = page.next_page_token;
            }
        }
    }
    all
}
