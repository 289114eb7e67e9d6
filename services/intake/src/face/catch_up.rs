//! Catching up: any deeds in a stream, and an outcome for each.
//!
//! Outcomes come in the order of the deeds, each after its commit. Weigh-ins
//! that follow one another are under way together, so that the book commits
//! them in groups; any other deed waits for all before it, and what comes after
//! it waits for that one. What cannot be done is an outcome and never ends the
//! stream. Somebody who reads slowly slows only the own stream.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use desk::DeviceWord;
use proto::v1;
use proto::v1::catch_up_request::Item;
use proto::v1::deed::Deed;
use tokio::sync::{Semaphore, mpsc};
use tokio::task::JoinHandle;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status, Streaming};

use super::{
    Face, LONGEST_ID, LetIn, closes, landings, office, outlet, receiving, reports, settle, stock,
    tickets,
};
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, At as _, Bad};

/// Weigh-ins of one stream that are under way together.
const TOGETHER: u32 = 256;
/// Outcomes of one stream that wait for those before them, or for their reader.
const WAITING: usize = 256;
/// Most deeds a device may say it has queued.
const MOST_QUEUED: i32 = 10_000_000;

/// Outcomes of the items, as they are booked.
pub(crate) fn answers(
    face: &Face,
    let_in: LetIn,
    items: Streaming<v1::CatchUpRequest>,
) -> Result<ReceiverStream<Result<v1::CatchUpResponse, Status>>, Refusal> {
    let place = Arc::clone(&face.streams).try_acquire_owned();
    let place = place.map_err(|_| desk::DeskError::Busy)?;
    let (queue, waiting) = mpsc::channel(WAITING);
    let (answers, stream) = mpsc::channel(WAITING);
    let reader = Reader {
        face: face.clone(),
        let_in,
        room: Arc::new(Semaphore::new(TOGETHER as usize)),
        resolved: Arc::new(AtomicI64::new(0)),
        open: None,
        queue,
    };
    tokio::spawn(reader.read(items));
    tokio::spawn(async move {
        tell(waiting, answers).await;
        drop(place);
    });
    Ok(ReceiverStream::new(stream))
}

/// An outcome in its place among the others.
enum Pending {
    /// Known already; an error ends the stream.
    Known(Box<Result<v1::CatchUpResponse, Status>>),
    /// Of a weigh-in that is under way.
    UnderWay {
        request_id: String,
        task: JoinHandle<v1::CatchUpResponse>,
    },
}

/// Sends each outcome as soon as it and all before it are known.
async fn tell(
    mut waiting: mpsc::Receiver<Pending>,
    answers: mpsc::Sender<Result<v1::CatchUpResponse, Status>>,
) {
    while let Some(pending) = waiting.recv().await {
        let outcome = match pending {
            Pending::Known(outcome) => *outcome,
            Pending::UnderWay { request_id, task } => Ok(task.await.unwrap_or_else(|error| {
                tracing::error!(%error, "a weigh-in of a stream ended without an outcome");
                refused(request_id, desk::DeskError::Internal.into())
            })),
        };
        if answers.send(outcome).await.is_err() {
            return;
        }
    }
}

/// Nobody listens any more.
struct Gone;

/// A device's word that it has begun.
struct Open {
    entry: i64,
    site: i64,
    device: String,
    queued: i64,
}

struct Reader {
    face: Face,
    let_in: LetIn,
    /// A place for each weigh-in under way.
    room: Arc<Semaphore>,
    /// Deeds answered for good since the stream opened: booked, or refused in a
    /// way that sending them again cannot change.
    resolved: Arc<AtomicI64>,
    open: Option<Open>,
    queue: mpsc::Sender<Pending>,
}

impl Reader {
    async fn read(mut self, mut items: Streaming<v1::CatchUpRequest>) {
        let mut stopping = self.face.stopping.clone();
        loop {
            let next = tokio::select! {
                biased;
                _ = stopping.wait_for(|stopping| *stopping) => {
                    Err(Status::unavailable("the service is stopping; send again what was not answered"))
                }
                next = items.message() => next,
            };
            let next = match next {
                Ok(Some(item)) => self.still_let_in().await.map(|()| Some(item)),
                next => next,
            };
            let done = match next {
                Ok(Some(item)) => self.take(item).await,
                Ok(None) => return,
                Err(status) => {
                    // What was begun is finished and told first.
                    let _gone = self.put(Pending::Known(Box::new(Err(status)))).await;
                    return;
                }
            };
            if done.is_err() {
                return;
            }
        }
    }

    /// A stream may outlive its key; what comes after the key's end is not taken.
    async fn still_let_in(&self) -> Result<(), Status> {
        let works = self.face.desk.still_works(&self.let_in.caller).await;
        let refusal = match works {
            Ok(true) => return Ok(()),
            Ok(false) => Refusal::no_key("this key opens nothing"),
            Err(error) => Refusal::from(error),
        };
        self.face.refused(&self.let_in, &refusal, "").await;
        Err(refusal.into())
    }

    async fn put(&self, pending: Pending) -> Result<(), Gone> {
        self.queue.send(pending).await.map_err(|_| Gone)
    }

    async fn take(&mut self, request: v1::CatchUpRequest) -> Result<(), Gone> {
        if let Some(Item::Deed(v1::Deed {
            deed: Some(Deed::WeighIn(weigh_in)),
        })) = request.item
        {
            return self.begin(weigh_in).await;
        }
        let room = Arc::clone(&self.room);
        // Never closed, so this only waits.
        let _all = room.acquire_many(TOGETHER).await.map_err(|_| Gone)?;
        let outcome = match request.item {
            Some(Item::Deed(v1::Deed { deed: Some(deed) })) => {
                let outcome = do_deed(&self.face, &self.let_in, deed).await;
                count(&self.resolved, &outcome);
                outcome
            }
            Some(Item::Deed(v1::Deed { deed: None })) => {
                let missing = Bad::missing("must be given").at_field("deed");
                self.told(String::new(), Err(missing)).await
            }
            Some(Item::Open(open)) => {
                let request_id = open.request_id.clone();
                let opened = self.open(open).await;
                self.told(request_id, opened).await
            }
            Some(Item::Drained(drained)) => {
                let done = self.drained(&drained).await;
                self.told(drained.request_id, done).await
            }
            None => {
                let missing = Bad::missing("must be given").at_field("item");
                self.told(String::new(), Err(missing)).await
            }
        };
        self.put(Pending::Known(Box::new(Ok(outcome)))).await
    }

    /// Begins a weigh-in beside those under way, once there is room.
    async fn begin(&self, request: v1::RecordWeighInRequest) -> Result<(), Gone> {
        let place = Arc::clone(&self.room)
            .acquire_owned()
            .await
            .map_err(|_| Gone)?;
        let (face, let_in) = (self.face.clone(), self.let_in.clone());
        let resolved = Arc::clone(&self.resolved);
        let request_id = said_back(&request.request_id);
        let task = tokio::spawn(async move {
            let outcome = do_deed(&face, &let_in, Deed::WeighIn(request)).await;
            count(&resolved, &outcome);
            drop(place);
            outcome
        });
        self.put(Pending::UnderWay { request_id, task }).await
    }

    /// What came of an item that is no deed.
    async fn told(
        &self,
        request_id: String,
        result: Result<v1::Recorded, Refusal>,
    ) -> v1::CatchUpResponse {
        if let Err(refusal) = &result {
            self.face.refused(&self.let_in, refusal, &request_id).await;
        }
        outcome(request_id, result)
    }

    async fn open(&mut self, open: v1::CatchUpOpen) -> Result<v1::Recorded, Refusal> {
        let request_id = parse::request_id(&open.request_id).at("open")?;
        let word = DeviceWord {
            site: parse::site(open.site).at("open")?,
            device: parse::code(open.device).at("open.device")?,
            queued: parse::count(open.queued, 0, MOST_QUEUED).at("open.queued")?,
            resolved: 0,
            open: None,
        };
        let booked = self
            .face
            .desk
            .device_word(&self.let_in.caller, &request_id, word)
            .await?;
        self.resolved.store(0, Ordering::Relaxed);
        self.open = Some(Open {
            entry: booked.entry.number(),
            site: booked.asked.site,
            device: booked.asked.device.clone(),
            queued: booked.asked.queued,
        });
        Ok(answer::recorded(&booked))
    }

    async fn drained(&self, drained: &v1::CatchUpDrained) -> Result<v1::Recorded, Refusal> {
        let request_id = parse::request_id(&drained.request_id).at("drained")?;
        let Some(open) = &self.open else {
            return Err(Bad::rule("the stream was not opened by a device").at_field("drained"));
        };
        let word = DeviceWord {
            site: open.site,
            device: open.device.clone(),
            queued: open.queued,
            resolved: self.resolved.load(Ordering::Relaxed),
            open: Some(open.entry),
        };
        let booked = self
            .face
            .desk
            .device_word(&self.let_in.caller, &request_id, word)
            .await?;
        Ok(answer::recorded(&booked))
    }
}

impl Bad {
    /// As the refusal of an item.
    fn at_field(self, field: &str) -> Refusal {
        Refusal::from(Bad {
            field: field.to_owned(),
            ..self
        })
    }
}

/// Counts an outcome that sending again cannot change.
fn count(resolved: &AtomicI64, outcome: &v1::CatchUpResponse) {
    let again = [Code::Unavailable, Code::Internal].map(i32::from);
    if !again.contains(&outcome.code) {
        resolved.fetch_add(1, Ordering::Relaxed);
    }
}

/// A request id to name an outcome by; one that is no id at all is cut.
fn said_back(request_id: &str) -> String {
    request_id.chars().take(LONGEST_ID).collect()
}

fn outcome<A: Outcome>(request_id: String, result: Result<A, Refusal>) -> v1::CatchUpResponse {
    match result {
        Ok(answer) => v1::CatchUpResponse {
            request_id: said_back(&request_id),
            ..answer.outcome()
        },
        Err(refusal) => refused(request_id, refusal),
    }
}

fn refused(request_id: String, refusal: Refusal) -> v1::CatchUpResponse {
    v1::CatchUpResponse {
        request_id: said_back(&request_id),
        code: refusal.code.into(),
        message: refusal.message,
        reason: refusal.reason.to_owned(),
        field: refusal.field,
        ..v1::CatchUpResponse::default()
    }
}

/// Does a deed as its own method would, and says whether it was booked before.
async fn do_deed(face: &Face, let_in: &LetIn, deed: Deed) -> v1::CatchUpResponse {
    let (outcome, repeated) = desk::told_if_repeated(by_its_method(face, let_in, deed)).await;
    v1::CatchUpResponse {
        booked_before: repeated && outcome.code == 0,
        ..outcome
    }
}

async fn by_its_method(face: &Face, let_in: &LetIn, deed: Deed) -> v1::CatchUpResponse {
    macro_rules! by {
        ($method:path, $request:ident) => {{
            let request_id = said_back(&$request.request_id);
            // On the heap: together the methods' futures do not fit a thread's stack.
            let result = Box::pin($method(face, &let_in.caller, $request)).await;
            if let Err(refusal) = &result {
                face.refused(let_in, refusal, &request_id).await;
            }
            outcome(request_id, result)
        }};
    }
    match deed {
        Deed::WeighIn(request) => by!(tickets::record_weigh_in, request),
        Deed::VoidTicket(request) => by!(tickets::void_ticket, request),
        Deed::Hold(request) => by!(stock::hold_part, request),
        Deed::Release(request) => by!(stock::release_hold, request),
        Deed::Regrade(request) => by!(stock::regrade_part, request),
        Deed::Movement(request) => by!(stock::record_movement, request),
        Deed::CustomerReturn(request) => by!(stock::record_return, request),
        Deed::Making(request) => by!(stock::record_making, request),
        Deed::Count(request) => by!(stock::record_count, request),
        Deed::Site(request) => by!(office::record_site, request),
        Deed::Party(request) => by!(office::record_party, request),
        Deed::Species(request) => by!(office::record_species, request),
        Deed::Scale(request) => by!(office::record_scale, request),
        Deed::Tote(request) => by!(office::record_tote, request),
        Deed::Device(request) => by!(office::record_device, request),
        Deed::Settings(request) => by!(office::record_settings, request),
        Deed::PriceList(request) => by!(office::post_price_list, request),
        Deed::Reprobe(request) => by!(receiving::record_reprobe, request),
        Deed::AcknowledgeFlag(request) => by!(closes::acknowledge_flag, request),
        Deed::Reweigh(request) => by!(stock::record_reweigh, request),
        Deed::AgreedPrice(request) => by!(office::record_agreed_price, request),
        Deed::Baseline(request) => by!(office::record_baseline, request),
        Deed::Room(request) => by!(outlet::record_room, request),
        Deed::Choice(request) => by!(outlet::record_choice, request),
        Deed::Plan(request) => by!(outlet::record_plan, request),
        Deed::Settle(request) => by!(settle::settle, request),
        Deed::Advance(request) => by!(settle::record_advance, request),
        Deed::Charge(request) => by!(settle::record_charge, request),
        Deed::DrawerCount(request) => by!(settle::record_drawer_count, request),
        Deed::Dispute(request) => by!(settle::dispute_line, request),
        Deed::AnswerDispute(request) => by!(settle::answer_dispute, request),
        Deed::TakeBack(request) => by!(settle::take_back, request),
        Deed::RequestCodes(request) => by!(landings::request_codes, request),
        Deed::AnswerYield(request) => by!(reports::answer_yield, request),
    }
}

/// What of an answer stands in the outcome.
trait Outcome {
    fn outcome(self) -> v1::CatchUpResponse;
}

impl Outcome for v1::Recorded {
    fn outcome(self) -> v1::CatchUpResponse {
        v1::CatchUpResponse {
            recorded: Some(self),
            ..v1::CatchUpResponse::default()
        }
    }
}

impl Outcome for v1::RecordWeighInResponse {
    fn outcome(self) -> v1::CatchUpResponse {
        let recorded = self.ticket.as_ref().map(|ticket| v1::Recorded {
            entry_id: ticket.id.clone(),
            recorded_at: ticket.recorded_at,
            day: ticket.day,
        });
        v1::CatchUpResponse {
            recorded,
            ticket: self.ticket,
            ..v1::CatchUpResponse::default()
        }
    }
}

impl Outcome for v1::HoldPartResponse {
    fn outcome(self) -> v1::CatchUpResponse {
        v1::CatchUpResponse {
            recorded: self.recorded,
            hold_id: self.hold_id,
            ..v1::CatchUpResponse::default()
        }
    }
}

impl Outcome for v1::RecordMakingResponse {
    fn outcome(self) -> v1::CatchUpResponse {
        let made = self.making.unwrap_or_default().outputs.into_iter();
        let lot_codes = made
            .map(|made| made.lot_code)
            .filter(|code| !code.is_empty());
        v1::CatchUpResponse {
            recorded: self.recorded,
            notices: self.notices,
            lot_codes: lot_codes.collect(),
            ..v1::CatchUpResponse::default()
        }
    }
}

impl Outcome for v1::RecordCountResponse {
    fn outcome(self) -> v1::CatchUpResponse {
        let pool = Some(self.pool_lot_code).filter(|code| !code.is_empty());
        v1::CatchUpResponse {
            recorded: self.recorded,
            lot_codes: pool.into_iter().collect(),
            ..v1::CatchUpResponse::default()
        }
    }
}

impl Outcome for v1::RequestCodesResponse {
    fn outcome(self) -> v1::CatchUpResponse {
        v1::CatchUpResponse {
            recorded: self.recorded,
            code_block: self.block,
            ..v1::CatchUpResponse::default()
        }
    }
}

macro_rules! only {
    ($fields:tt of $($answer:ident),+ $(,)?) => {$(
        only!(@one $fields $answer);
    )+};
    (@one ($($field:ident),+) $answer:ident) => {
        impl Outcome for v1::$answer {
            fn outcome(self) -> v1::CatchUpResponse {
                v1::CatchUpResponse {
                    $($field: self.$field,)+
                    ..v1::CatchUpResponse::default()
                }
            }
        }
    };
}

only! {
    (recorded, notices) of RecordMovementResponse, PostPriceListResponse, RecordReprobeResponse,
}

only! {
    (recorded) of VoidTicketResponse, ReleaseHoldResponse, RegradePartResponse,
    RecordReturnResponse, RecordSiteResponse, RecordPartyResponse, RecordSpeciesResponse,
    RecordScaleResponse, RecordToteResponse, RecordDeviceResponse, RecordSettingsResponse,
    AcknowledgeFlagResponse, RecordReweighResponse,
    RecordAgreedPriceResponse, RecordRoomResponse, RecordChoiceResponse, RecordPlanResponse, SettleResponse, RecordAdvanceResponse,
    RecordChargeResponse, RecordDrawerCountResponse, DisputeLineResponse, AnswerDisputeResponse,
    TakeBackResponse, RecordBaselineResponse, AnswerYieldResponse,
}
