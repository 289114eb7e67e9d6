//! The service as a client sees it: one method for each method of the contract
//! that a command needs.
//!
//! Every call is tried again for a few seconds while the service is
//! unavailable, with the same bytes and so with the same request id: a deed is
//! booked once, however often it is sent.

use std::future::Future;
use std::time::Duration;

use backon::{ExponentialBuilder, Retryable as _};
use proto::v1;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Response, Status};

use crate::pass::Pass;
use crate::trouble::Trouble;

/// A close of a busy site is larger than the usual 4 MiB.
const LARGEST_ANSWER_BYTES: usize = 64 * 1024 * 1024;

/// A connection to a service.
#[derive(Debug, Clone)]
pub struct Service {
    server: String,
    channel: Channel,
    pass: Pass,
}

impl Service {
    /// Connects to `server`, an address such as `http://127.0.0.1:7420`, and shows
    /// `pass` with every request.
    ///
    /// # Errors
    ///
    /// [`Trouble::Unreachable`] when nobody answers there.
    pub async fn reach(server: &str, pass: Pass) -> Result<Service, Trouble> {
        let unreachable = |error: tonic::transport::Error| Trouble::Unreachable {
            server: server.to_owned(),
            why: innermost(&error),
        };
        let endpoint = Endpoint::from_shared(server.to_owned())
            .map_err(unreachable)?
            .connect_timeout(Duration::from_secs(5))
            .timeout(Duration::from_secs(30));
        let endpoint = match pass.tls(server)? {
            Some(tls) => endpoint.tls_config(tls).map_err(unreachable)?,
            None => endpoint,
        };
        let channel = (|| endpoint.connect())
            .retry(patience().with_max_times(2))
            .await
            .map_err(unreachable)?;
        Ok(Service {
            server: server.to_owned(),
            channel,
            pass,
        })
    }

    /// Address it was reached at.
    #[must_use]
    pub fn server(&self) -> &str {
        &self.server
    }

    /// Opens a stream of deeds; outcomes come back in it, each after its commit.
    ///
    /// # Errors
    ///
    /// The service refused the stream or gave no answer.
    pub async fn catch_up(
        &self,
        deeds: impl tokio_stream::Stream<Item = v1::CatchUpRequest> + Send + 'static,
    ) -> Result<tonic::Streaming<v1::CatchUpResponse>, Trouble> {
        let (channel, pass) = (self.channel.clone(), self.pass.clone());
        v1::intake_service_client::IntakeServiceClient::with_interceptor(channel, pass)
            .max_decoding_message_size(LARGEST_ANSWER_BYTES)
            .catch_up(deeds)
            .await
            .map(Response::into_inner)
            .map_err(|status| Trouble::from_status(&self.server, &status))
    }

    async fn ask<A, R>(&self, call: impl FnMut() -> R) -> Result<A, Trouble>
    where
        R: Future<Output = Result<Response<A>, Status>>,
    {
        call.retry(patience().with_max_times(6))
            .when(|status| matches!(status.code(), Code::Unavailable | Code::ResourceExhausted))
            .await
            .map(Response::into_inner)
            .map_err(|status| Trouble::from_status(&self.server, &status))
    }
}

/// Waits 0.1 s, then longer each time, never quite as long as a neighbour.
fn patience() -> ExponentialBuilder {
    ExponentialBuilder::default()
        .with_min_delay(Duration::from_millis(100))
        .with_max_delay(Duration::from_secs(2))
        .with_jitter()
}

/// The last cause of an error is the one that a person can do something about.
fn innermost(error: &dyn std::error::Error) -> String {
    let mut last = error;
    while let Some(source) = last.source() {
        last = source;
    }
    last.to_string()
}

macro_rules! methods {
    ($($module:ident :: $client:ident { $($method:ident: $request:ident => $answer:ident),+ $(,)? })+) => {
        /// The contract's unary methods.
        ///
        /// # Errors
        ///
        /// The service refused, or gave no answer.
        impl Service {
            $($(
                #[doc = concat!("`", stringify!($client), "::", stringify!($method), "`.")]
                ///
                /// # Errors
                ///
                /// The service refused, or gave no answer.
                pub async fn $method(&self, request: v1::$request) -> Result<v1::$answer, Trouble> {
                    self.ask(|| {
                        let (channel, pass) = (self.channel.clone(), self.pass.clone());
                        let mut client = v1::$module::$client::with_interceptor(channel, pass)
                            .max_decoding_message_size(LARGEST_ANSWER_BYTES);
                        let request = request.clone();
                        async move { client.$method(request).await }
                    })
                    .await
                }
            )+)+
        }
    };
}

methods! {
    intake_service_client::IntakeServiceClient {
        record_weigh_in: RecordWeighInRequest => RecordWeighInResponse,
        get_ticket: GetTicketRequest => GetTicketResponse,
        void_ticket: VoidTicketRequest => VoidTicketResponse,
    }
    stock_service_client::StockServiceClient {
        hold_part: HoldPartRequest => HoldPartResponse,
        release_hold: ReleaseHoldRequest => ReleaseHoldResponse,
        regrade_part: RegradePartRequest => RegradePartResponse,
        record_movement: RecordMovementRequest => RecordMovementResponse,
        record_return: RecordReturnRequest => RecordReturnResponse,
        record_making: RecordMakingRequest => RecordMakingResponse,
        record_count: RecordCountRequest => RecordCountResponse,
        record_reweigh: RecordReweighRequest => RecordReweighResponse,
        get_lot: GetLotRequest => GetLotResponse,
    }
    office_service_client::OfficeServiceClient {
        record_site: RecordSiteRequest => RecordSiteResponse,
        list_sites: ListSitesRequest => ListSitesResponse,
        record_party: RecordPartyRequest => RecordPartyResponse,
        list_parties: ListPartiesRequest => ListPartiesResponse,
        record_species: RecordSpeciesRequest => RecordSpeciesResponse,
        list_species: ListSpeciesRequest => ListSpeciesResponse,
        record_scale: RecordScaleRequest => RecordScaleResponse,
        record_tote: RecordToteRequest => RecordToteResponse,
        record_device: RecordDeviceRequest => RecordDeviceResponse,
        record_settings: RecordSettingsRequest => RecordSettingsResponse,
        post_price_list: PostPriceListRequest => PostPriceListResponse,
        check_price_list: CheckPriceListRequest => CheckPriceListResponse,
        record_agreed_price: RecordAgreedPriceRequest => RecordAgreedPriceResponse,
        list_agreed_prices: ListAgreedPricesRequest => ListAgreedPricesResponse,
        record_baseline: RecordBaselineRequest => RecordBaselineResponse,
        list_baselines: ListBaselinesRequest => ListBaselinesResponse,
    }
    receiving_service_client::ReceivingServiceClient {
        record_reprobe: RecordReprobeRequest => RecordReprobeResponse,
        get_receiving_log: GetReceivingLogRequest => GetReceivingLogResponse,
    }
    close_service_client::CloseServiceClient {
        get_close: GetCloseRequest => GetCloseResponse,
        list_flags: ListFlagsRequest => ListFlagsResponse,
        acknowledge_flag: AcknowledgeFlagRequest => AcknowledgeFlagResponse,
    }
    outlet_service_client::OutletServiceClient {
        record_room: RecordRoomRequest => RecordRoomResponse,
        list_rooms: ListRoomsRequest => ListRoomsResponse,
        record_choice: RecordChoiceRequest => RecordChoiceResponse,
        propose_plan: ProposePlanRequest => ProposePlanResponse,
        record_plan: RecordPlanRequest => RecordPlanResponse,
        get_plan: GetPlanRequest => GetPlanResponse,
        get_dispatch_note: GetDispatchNoteRequest => GetDispatchNoteResponse,
    }
    codes_service_client::CodesServiceClient {
        request_codes: RequestCodesRequest => RequestCodesResponse,
    }
    landing_report_service_client::LandingReportServiceClient {
        list_landings: ListLandingsRequest => ListLandingsResponse,
        list_tallies: ListTalliesRequest => ListTalliesResponse,
    }
    yield_service_client::YieldServiceClient {
        list_supplier_yields: ListSupplierYieldsRequest => ListSupplierYieldsResponse,
        weigh_small_fish: WeighSmallFishRequest => WeighSmallFishResponse,
        answer_yield: AnswerYieldRequest => AnswerYieldResponse,
    }
    statement_service_client::StatementServiceClient {
        get_statement: GetStatementRequest => GetStatementResponse,
    }
    settlement_service_client::SettlementServiceClient {
        preview_settlement: PreviewSettlementRequest => PreviewSettlementResponse,
        settle: SettleRequest => SettleResponse,
        record_advance: RecordAdvanceRequest => RecordAdvanceResponse,
        record_charge: RecordChargeRequest => RecordChargeResponse,
        take_back: TakeBackRequest => TakeBackResponse,
        get_cash_year: GetCashYearRequest => GetCashYearResponse,
        record_drawer_count: RecordDrawerCountRequest => RecordDrawerCountResponse,
        get_drawer: GetDrawerRequest => GetDrawerResponse,
        dispute_line: DisputeLineRequest => DisputeLineResponse,
        answer_dispute: AnswerDisputeRequest => AnswerDisputeResponse,
    }
    key_service_client::KeyServiceClient {
        issue_key: IssueKeyRequest => IssueKeyResponse,
        revoke_key: RevokeKeyRequest => RevokeKeyResponse,
        list_keys: ListKeysRequest => ListKeysResponse,
        get_caller: GetCallerRequest => GetCallerResponse,
    }
    audit_service_client::AuditServiceClient {
        list_entries: ListEntriesRequest => ListEntriesResponse,
        list_refusals: ListRefusalsRequest => ListRefusalsResponse,
    }
    clock_service_client::ClockServiceClient {
        get_clock: GetClockRequest => GetClockResponse,
        set_clock: SetClockRequest => SetClockResponse,
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use std::sync::{Arc, Mutex};

    use proto::v1::clock_service_server::{ClockService, ClockServiceServer};
    use tokio::net::TcpListener;
    use tonic::Request;
    use tonic::transport::server::TcpIncoming;

    use super::*;

    /// A peer that is not ready for its first calls.
    #[derive(Clone, Default)]
    struct NotReadyYet {
        calls: Arc<Mutex<Vec<v1::SetClockRequest>>>,
    }

    #[tonic::async_trait]
    impl ClockService for NotReadyYet {
        async fn get_clock(
            &self,
            _: Request<v1::GetClockRequest>,
        ) -> Result<Response<v1::GetClockResponse>, Status> {
            Err(Status::permission_denied("not yours to read"))
        }

        async fn set_clock(
            &self,
            request: Request<v1::SetClockRequest>,
        ) -> Result<Response<v1::SetClockResponse>, Status> {
            let mut calls = self.calls.lock().unwrap();
            calls.push(request.into_inner());
            if calls.len() < 3 {
                return Err(Status::unavailable("the book is busy"));
            }
            Ok(Response::new(v1::SetClockResponse { now: calls[0].now }))
        }
    }

    async fn peer() -> (NotReadyYet, Service) {
        let peer = NotReadyYet::default();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let server = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(
            tonic::transport::Server::builder()
                .add_service(ClockServiceServer::new(peer.clone()))
                .serve_with_incoming(TcpIncoming::from(listener)),
        );
        let service = Service::reach(&server, Pass::default()).await.unwrap();
        (peer, service)
    }

    #[tokio::test]
    async fn an_unavailable_service_is_asked_again_with_the_same_request() {
        let (peer, service) = peer().await;
        let now = prost_types::Timestamp {
            seconds: 7,
            nanos: 0,
        };
        let request = v1::SetClockRequest { now: Some(now) };
        assert_eq!(service.set_clock(request).await.unwrap().now, Some(now));
        assert_eq!(*peer.calls.lock().unwrap(), [request, request, request]);
    }

    #[tokio::test]
    async fn a_refusal_is_not_asked_again() {
        let (_, service) = peer().await;
        let trouble = service.get_clock(v1::GetClockRequest {}).await.unwrap_err();
        assert_eq!(trouble.to_string(), "not allowed: not yours to read");
    }

    #[tokio::test]
    async fn nobody_at_the_address_is_said_with_what_to_do() {
        // Bound and dropped: nobody listens there now.
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let server = format!("http://{}", listener.local_addr().unwrap());
        drop(listener);
        let trouble = Service::reach(&server, Pass::default()).await.unwrap_err();
        assert_eq!(trouble.exit_code(), 2);
        let text = trouble.to_string();
        assert!(
            text.starts_with(&format!("no service answers at {server} (")),
            "{text}"
        );
        assert!(text.contains("weighhouse serve"), "{text}");
    }
}
