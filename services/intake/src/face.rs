//! The services of the contract.
//!
//! Each method parses its request, calls one deed of the desk and writes the
//! answer. Who asks is found out in one place, [`caller`]; whether they may is
//! the desk's to say.

pub(crate) mod audit;
pub(crate) mod catch_up;
pub(crate) mod closes;
pub(crate) mod keys;
pub(crate) mod landings;
pub(crate) mod office;
mod outlet;
pub(crate) mod receiving;
pub(crate) mod reports;
pub(crate) mod settle;
pub(crate) mod stock;
pub(crate) mod tickets;

use std::sync::Arc;

use desk::{Booked, Caller, Desk};
use proto::v1;
use rules::money::Currency;
use rules::weight::WeightUnit;
use tokio::sync::{Semaphore, watch};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

use crate::errors::Refusal;

/// Most characters of a request id that are remembered or said back.
pub(crate) const LONGEST_ID: usize = 64;

/// Streams that catch up at once, in the whole house.
const STREAMS: usize = 256;

/// The desk as the wire sees it.
#[derive(Clone)]
pub(crate) struct Face {
    desk: Desk,
    /// Turns true when the service is stopping.
    stopping: watch::Receiver<bool>,
    /// A place for each stream that catches up.
    streams: Arc<Semaphore>,
}

/// Whom the gate has let in, and to which method.
#[derive(Debug, Clone)]
pub(crate) struct LetIn {
    pub(crate) caller: Caller,
    /// Such as `/weighhouse.v1.IntakeService/RecordWeighIn`.
    pub(crate) method: Arc<str>,
}

/// Who asks. Nobody does where no gate stands before.
fn let_in<T>(request: &Request<T>) -> Result<LetIn, Status> {
    let let_in = request.extensions().get::<LetIn>();
    let_in
        .cloned()
        .ok_or_else(|| Status::unauthenticated("show a key"))
}

impl Face {
    pub(crate) fn new(desk: Desk, stopping: watch::Receiver<bool>) -> Face {
        Face {
            desk,
            stopping,
            streams: Arc::new(Semaphore::new(STREAMS)),
        }
    }

    /// Whether nobody is catching up.
    pub(crate) fn has_no_streams(&self) -> bool {
        self.streams.available_permits() == STREAMS
    }

    /// Has a refusal remembered.
    pub(crate) async fn refused(&self, let_in: &LetIn, refusal: &Refusal, request_id: &str) {
        let actor = let_in.caller.name();
        let request_id: String = request_id.chars().take(LONGEST_ID).collect();
        self.desk
            .refused(&actor, &let_in.method, refusal.reason, &request_id)
            .await;
    }

    /// The money of a site, where it is on file. Asked for before the request is read
    /// by it, so whoever may not do the act there is refused here.
    async fn money_of(
        &self,
        caller: &Caller,
        act: &str,
        site: i32,
    ) -> Result<Option<Currency>, Refusal> {
        let site = i64::from(site);
        self.desk.may_at(caller, act, site)?;
        if let Some(site) = self.desk.office().sites.get(&site) {
            return Ok(Some(site.currency));
        }
        // Another instance may have put it on file since.
        let sites = self.desk.sites(caller).await?;
        Ok(sites
            .iter()
            .find(|on_file| on_file.number == site)
            .map(|site| site.currency))
    }

    /// The unit people of a site read today.
    fn unit_of(&self, site: i64) -> WeightUnit {
        self.desk.office().shown_unit_at(site, i64::MAX)
    }

    /// The unit they read when a deed was recorded.
    fn unit_then<A, O>(&self, booked: &Booked<A, O>) -> WeightUnit {
        let site = booked.entry.site();
        self.desk.office().shown_unit_at(site, booked.recorded_us)
    }
}

/// Id of a deed's request, to be named where it is refused; a reading has none.
macro_rules! request_id_of {
    (deed $request:ident) => {
        $request.get_ref().request_id.clone()
    };
    (read $request:ident) => {
        String::new()
    };
}

/// Declares a service: each method calls the function of its name in a module. A deed
/// has a `request_id`, a reading has none.
macro_rules! service {
    ($service:path = $($kind:ident $module:ident :: $method:ident($request:ident) -> $answer:ident),+ $(,)?
     $(; $($more:tt)*)?) => {
        #[tonic::async_trait]
        impl $service for Face {
            $(
                async fn $method(
                    &self,
                    request: Request<v1::$request>,
                ) -> Result<Response<v1::$answer>, Status> {
                    let let_in = let_in(&request)?;
                    let request_id = request_id_of!($kind request);
                    match $module::$method(self, &let_in.caller, request.into_inner()).await {
                        Ok(answer) => Ok(Response::new(answer)),
                        Err(refusal) => {
                            self.refused(&let_in, &refusal, &request_id).await;
                            Err(refusal.into())
                        }
                    }
                }
            )+
            $($($more)*)?
        }
    };
}

service! {
    v1::office_service_server::OfficeService =
        deed office::record_site(RecordSiteRequest) -> RecordSiteResponse,
        read office::list_sites(ListSitesRequest) -> ListSitesResponse,
        deed office::record_party(RecordPartyRequest) -> RecordPartyResponse,
        read office::list_parties(ListPartiesRequest) -> ListPartiesResponse,
        deed office::record_species(RecordSpeciesRequest) -> RecordSpeciesResponse,
        read office::list_species(ListSpeciesRequest) -> ListSpeciesResponse,
        deed office::record_scale(RecordScaleRequest) -> RecordScaleResponse,
        read office::list_scales(ListScalesRequest) -> ListScalesResponse,
        deed office::record_tote(RecordToteRequest) -> RecordToteResponse,
        read office::list_totes(ListTotesRequest) -> ListTotesResponse,
        deed office::record_device(RecordDeviceRequest) -> RecordDeviceResponse,
        read office::list_devices(ListDevicesRequest) -> ListDevicesResponse,
        deed office::record_settings(RecordSettingsRequest) -> RecordSettingsResponse,
        read office::get_settings(GetSettingsRequest) -> GetSettingsResponse,
        deed office::post_price_list(PostPriceListRequest) -> PostPriceListResponse,
        read office::list_price_lists(ListPriceListsRequest) -> ListPriceListsResponse,
        read office::check_price_list(CheckPriceListRequest) -> CheckPriceListResponse,
        deed office::record_agreed_price(RecordAgreedPriceRequest) -> RecordAgreedPriceResponse,
        read office::list_agreed_prices(ListAgreedPricesRequest) -> ListAgreedPricesResponse,
        deed office::record_baseline(RecordBaselineRequest) -> RecordBaselineResponse,
        read office::list_baselines(ListBaselinesRequest) -> ListBaselinesResponse,
}

service! {
    v1::intake_service_server::IntakeService =
        deed tickets::record_weigh_in(RecordWeighInRequest) -> RecordWeighInResponse,
        read tickets::get_ticket(GetTicketRequest) -> GetTicketResponse,
        read tickets::list_tickets(ListTicketsRequest) -> ListTicketsResponse,
        deed tickets::void_ticket(VoidTicketRequest) -> VoidTicketResponse;

    type CatchUpStream = ReceiverStream<Result<v1::CatchUpResponse, Status>>;

    async fn catch_up(
        &self,
        request: Request<Streaming<v1::CatchUpRequest>>,
    ) -> Result<Response<Self::CatchUpStream>, Status> {
        let let_in = let_in(&request)?;
        match catch_up::answers(self, let_in.clone(), request.into_inner()) {
            Ok(answers) => Ok(Response::new(answers)),
            Err(refusal) => {
                self.refused(&let_in, &refusal, "").await;
                Err(refusal.into())
            }
        }
    }
}

service! {
    v1::stock_service_server::StockService =
        deed stock::hold_part(HoldPartRequest) -> HoldPartResponse,
        deed stock::release_hold(ReleaseHoldRequest) -> ReleaseHoldResponse,
        deed stock::regrade_part(RegradePartRequest) -> RegradePartResponse,
        deed stock::record_movement(RecordMovementRequest) -> RecordMovementResponse,
        deed stock::record_return(RecordReturnRequest) -> RecordReturnResponse,
        deed stock::record_making(RecordMakingRequest) -> RecordMakingResponse,
        deed stock::record_count(RecordCountRequest) -> RecordCountResponse,
        deed stock::record_reweigh(RecordReweighRequest) -> RecordReweighResponse,
        read stock::get_lot(GetLotRequest) -> GetLotResponse,
}

service! {
    v1::outlet_service_server::OutletService =
        deed outlet::record_room(RecordRoomRequest) -> RecordRoomResponse,
        read outlet::list_rooms(ListRoomsRequest) -> ListRoomsResponse,
        deed outlet::record_choice(RecordChoiceRequest) -> RecordChoiceResponse,
        read outlet::propose_plan(ProposePlanRequest) -> ProposePlanResponse,
        deed outlet::record_plan(RecordPlanRequest) -> RecordPlanResponse,
        read outlet::get_plan(GetPlanRequest) -> GetPlanResponse,
        read outlet::get_dispatch_note(GetDispatchNoteRequest) -> GetDispatchNoteResponse,
}

service! {
    v1::receiving_service_server::ReceivingService =
        deed receiving::record_reprobe(RecordReprobeRequest) -> RecordReprobeResponse,
        read receiving::get_receiving_log(GetReceivingLogRequest) -> GetReceivingLogResponse,
}

service! {
    v1::close_service_server::CloseService =
        read closes::get_close(GetCloseRequest) -> GetCloseResponse,
        read closes::list_flags(ListFlagsRequest) -> ListFlagsResponse,
        deed closes::acknowledge_flag(AcknowledgeFlagRequest) -> AcknowledgeFlagResponse,
}

service! {
    v1::codes_service_server::CodesService =
        deed landings::request_codes(RequestCodesRequest) -> RequestCodesResponse,
}

service! {
    v1::landing_report_service_server::LandingReportService =
        read landings::list_landings(ListLandingsRequest) -> ListLandingsResponse,
        read landings::list_tallies(ListTalliesRequest) -> ListTalliesResponse,
}

service! {
    v1::yield_service_server::YieldService =
        read reports::list_supplier_yields(ListSupplierYieldsRequest) -> ListSupplierYieldsResponse,
        read reports::weigh_small_fish(WeighSmallFishRequest) -> WeighSmallFishResponse,
        deed reports::answer_yield(AnswerYieldRequest) -> AnswerYieldResponse,
}

service! {
    v1::statement_service_server::StatementService =
        read reports::get_statement(GetStatementRequest) -> GetStatementResponse,
}

service! {
    v1::settlement_service_server::SettlementService =
        read settle::preview_settlement(PreviewSettlementRequest) -> PreviewSettlementResponse,
        deed settle::settle(SettleRequest) -> SettleResponse,
        deed settle::record_advance(RecordAdvanceRequest) -> RecordAdvanceResponse,
        deed settle::record_charge(RecordChargeRequest) -> RecordChargeResponse,
        deed settle::take_back(TakeBackRequest) -> TakeBackResponse,
        read settle::get_cash_year(GetCashYearRequest) -> GetCashYearResponse,
        deed settle::record_drawer_count(RecordDrawerCountRequest) -> RecordDrawerCountResponse,
        read settle::get_drawer(GetDrawerRequest) -> GetDrawerResponse,
        deed settle::dispute_line(DisputeLineRequest) -> DisputeLineResponse,
        deed settle::answer_dispute(AnswerDisputeRequest) -> AnswerDisputeResponse,
}

service! {
    v1::clock_service_server::ClockService =
        read reports::get_clock(GetClockRequest) -> GetClockResponse,
        read reports::set_clock(SetClockRequest) -> SetClockResponse,
}

service! {
    v1::key_service_server::KeyService =
        deed keys::issue_key(IssueKeyRequest) -> IssueKeyResponse,
        deed keys::revoke_key(RevokeKeyRequest) -> RevokeKeyResponse,
        read keys::list_keys(ListKeysRequest) -> ListKeysResponse,
        read keys::get_caller(GetCallerRequest) -> GetCallerResponse,
}

service! {
    v1::audit_service_server::AuditService =
        read audit::list_entries(ListEntriesRequest) -> ListEntriesResponse,
        read audit::list_refusals(ListRefusalsRequest) -> ListRefusalsResponse,
}
