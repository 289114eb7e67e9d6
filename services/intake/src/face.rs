//! The services of the contract.
//!
//! Each method parses its request, calls one deed of the desk and writes the
//! answer. Who asks is found out in one place, [`caller`]; whether they may is
//! the desk's to say.

pub(crate) mod catch_up;
pub(crate) mod closes;
pub(crate) mod landings;
pub(crate) mod office;
pub(crate) mod receiving;
pub(crate) mod reports;
pub(crate) mod settle;
pub(crate) mod stock;
pub(crate) mod tickets;

use desk::{Booked, Caller, Desk};
use proto::v1;
use rules::money::Currency;
use rules::weight::WeightUnit;
use tokio::sync::watch;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status, Streaming};

use crate::errors::Refusal;

/// The desk as the wire sees it.
#[derive(Clone)]
pub(crate) struct Face {
    desk: Desk,
    /// Turns true when the service is stopping.
    stopping: watch::Receiver<bool>,
}

/// Who asks. Until callers have keys, everybody on the machine is the office.
fn caller<T>(_: &Request<T>) -> Caller {
    Caller::office()
}

impl Face {
    pub(crate) fn new(desk: Desk, stopping: watch::Receiver<bool>) -> Face {
        Face { desk, stopping }
    }

    /// The money of a site, where it is on file.
    async fn money_of(&self, caller: &Caller, site: i32) -> Result<Option<Currency>, Refusal> {
        let site = i64::from(site);
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

/// Declares a service: each method calls the function of its name in a module.
macro_rules! service {
    ($service:path = $($module:ident :: $method:ident($request:ident) -> $answer:ident),+ $(,)?
     $(; $($more:tt)*)?) => {
        #[tonic::async_trait]
        impl $service for Face {
            $(
                async fn $method(
                    &self,
                    request: Request<v1::$request>,
                ) -> Result<Response<v1::$answer>, Status> {
                    let caller = caller(&request);
                    let answer = $module::$method(self, &caller, request.into_inner()).await?;
                    Ok(Response::new(answer))
                }
            )+
            $($($more)*)?
        }
    };
}

service! {
    v1::office_service_server::OfficeService =
        office::record_site(RecordSiteRequest) -> RecordSiteResponse,
        office::list_sites(ListSitesRequest) -> ListSitesResponse,
        office::record_party(RecordPartyRequest) -> RecordPartyResponse,
        office::list_parties(ListPartiesRequest) -> ListPartiesResponse,
        office::record_species(RecordSpeciesRequest) -> RecordSpeciesResponse,
        office::list_species(ListSpeciesRequest) -> ListSpeciesResponse,
        office::record_scale(RecordScaleRequest) -> RecordScaleResponse,
        office::list_scales(ListScalesRequest) -> ListScalesResponse,
        office::record_tote(RecordToteRequest) -> RecordToteResponse,
        office::list_totes(ListTotesRequest) -> ListTotesResponse,
        office::record_device(RecordDeviceRequest) -> RecordDeviceResponse,
        office::list_devices(ListDevicesRequest) -> ListDevicesResponse,
        office::record_settings(RecordSettingsRequest) -> RecordSettingsResponse,
        office::get_settings(GetSettingsRequest) -> GetSettingsResponse,
        office::post_price_list(PostPriceListRequest) -> PostPriceListResponse,
        office::list_price_lists(ListPriceListsRequest) -> ListPriceListsResponse,
        office::check_price_list(CheckPriceListRequest) -> CheckPriceListResponse,
        office::record_agreed_price(RecordAgreedPriceRequest) -> RecordAgreedPriceResponse,
        office::list_agreed_prices(ListAgreedPricesRequest) -> ListAgreedPricesResponse,
}

service! {
    v1::intake_service_server::IntakeService =
        tickets::record_weigh_in(RecordWeighInRequest) -> RecordWeighInResponse,
        tickets::get_ticket(GetTicketRequest) -> GetTicketResponse,
        tickets::list_tickets(ListTicketsRequest) -> ListTicketsResponse,
        tickets::void_ticket(VoidTicketRequest) -> VoidTicketResponse;

    type CatchUpStream = ReceiverStream<Result<v1::CatchUpResponse, Status>>;

    async fn catch_up(
        &self,
        request: Request<Streaming<v1::CatchUpRequest>>,
    ) -> Result<Response<Self::CatchUpStream>, Status> {
        let caller = caller(&request);
        Ok(Response::new(catch_up::answers(self, caller, request.into_inner())))
    }
}

service! {
    v1::stock_service_server::StockService =
        stock::hold_part(HoldPartRequest) -> HoldPartResponse,
        stock::release_hold(ReleaseHoldRequest) -> ReleaseHoldResponse,
        stock::regrade_part(RegradePartRequest) -> RegradePartResponse,
        stock::record_movement(RecordMovementRequest) -> RecordMovementResponse,
        stock::record_return(RecordReturnRequest) -> RecordReturnResponse,
        stock::record_making(RecordMakingRequest) -> RecordMakingResponse,
        stock::record_count(RecordCountRequest) -> RecordCountResponse,
        stock::record_reweigh(RecordReweighRequest) -> RecordReweighResponse,
        stock::get_lot(GetLotRequest) -> GetLotResponse,
}

service! {
    v1::receiving_service_server::ReceivingService =
        receiving::record_reprobe(RecordReprobeRequest) -> RecordReprobeResponse,
        receiving::get_receiving_log(GetReceivingLogRequest) -> GetReceivingLogResponse,
}

service! {
    v1::close_service_server::CloseService =
        closes::get_close(GetCloseRequest) -> GetCloseResponse,
        closes::list_flags(ListFlagsRequest) -> ListFlagsResponse,
        closes::acknowledge_flag(AcknowledgeFlagRequest) -> AcknowledgeFlagResponse,
}

service! {
    v1::codes_service_server::CodesService =
        landings::request_codes(RequestCodesRequest) -> RequestCodesResponse,
}

service! {
    v1::landing_report_service_server::LandingReportService =
        landings::list_landings(ListLandingsRequest) -> ListLandingsResponse,
        landings::list_tallies(ListTalliesRequest) -> ListTalliesResponse,
}

service! {
    v1::yield_service_server::YieldService =
        reports::list_supplier_yields(ListSupplierYieldsRequest) -> ListSupplierYieldsResponse,
}

service! {
    v1::statement_service_server::StatementService =
        reports::get_statement(GetStatementRequest) -> GetStatementResponse,
}

service! {
    v1::settlement_service_server::SettlementService =
        settle::preview_settlement(PreviewSettlementRequest) -> PreviewSettlementResponse,
        settle::settle(SettleRequest) -> SettleResponse,
        settle::record_advance(RecordAdvanceRequest) -> RecordAdvanceResponse,
        settle::record_charge(RecordChargeRequest) -> RecordChargeResponse,
        settle::get_cash_year(GetCashYearRequest) -> GetCashYearResponse,
        settle::record_drawer_count(RecordDrawerCountRequest) -> RecordDrawerCountResponse,
        settle::get_drawer(GetDrawerRequest) -> GetDrawerResponse,
        settle::dispute_line(DisputeLineRequest) -> DisputeLineResponse,
        settle::answer_dispute(AnswerDisputeRequest) -> AnswerDisputeResponse,
}

service! {
    v1::clock_service_server::ClockService =
        reports::get_clock(GetClockRequest) -> GetClockResponse,
        reports::set_clock(SetClockRequest) -> SetClockResponse,
}
