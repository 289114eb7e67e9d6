//! The service on its socket: what it answers, its limits, and how it stops.
//!
//! It stops in order: health says so, no connection is taken any more, what was
//! begun is finished, and what is not finished in time is left.
//!
//! Two codes are the wire's own, given before a request is read: OUT_OF_RANGE for
//! one above the limit, INTERNAL for text that is not UTF-8.

use std::convert::Infallible;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use desk::Desk;
use proto::v1::audit_service_server::AuditServiceServer;
use proto::v1::clock_service_server::ClockServiceServer;
use proto::v1::close_service_server::CloseServiceServer;
use proto::v1::codes_service_server::CodesServiceServer;
use proto::v1::intake_service_server::IntakeServiceServer;
use proto::v1::key_service_server::KeyServiceServer;
use proto::v1::landing_report_service_server::LandingReportServiceServer;
use proto::v1::office_service_server::OfficeServiceServer;
use proto::v1::outlet_service_server::OutletServiceServer;
use proto::v1::receiving_service_server::ReceivingServiceServer;
use proto::v1::settlement_service_server::SettlementServiceServer;
use proto::v1::statement_service_server::StatementServiceServer;
use proto::v1::stock_service_server::StockServiceServer;
use proto::v1::yield_service_server::YieldServiceServer;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::time::MissedTickBehavior;
use tonic::server::NamedService;
use tonic::service::Routes;
use tonic::transport::Server;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::face::Face;
use crate::gate::{Gate, Room};
use crate::transport;

/// Largest request taken.
const LARGEST_REQUEST_BYTES: usize = 4 * 1024 * 1024;
/// Largest answer given: a close of a busy site.
const LARGEST_ANSWER_BYTES: usize = 64 * 1024 * 1024;
/// Requests under way on one connection.
const STREAMS_PER_CONNECTION: u32 = 1024;
/// A peer that says nothing is asked whether it is there after this long, and
/// given up after as long again.
const SILENCE: Duration = Duration::from_secs(30);
/// Most bytes of a request's headers.
const LARGEST_HEADERS_BYTES: u32 = 16 * 1024;
/// Time to finish what was begun.
const GRACE: Duration = Duration::from_secs(10);
/// How often a stopping service looks whether all is answered.
const SETTLE: Duration = Duration::from_millis(50);

/// Why the service ended.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The socket or a connection of it failed.
    #[error("the service cannot go on: {0}")]
    Transport(#[from] tonic::transport::Error),
    /// The contract's descriptors do not read.
    #[error("the contract cannot be shown by reflection: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
}

/// Declares every service once: its name for health, its limits for the wire.
macro_rules! services {
    ($routes:ident, $face:ident, $names:ident; $($server:ident),+ $(,)?) => {
        $(
            $names.push(<$server<Face> as NamedService>::NAME);
            let $routes = $routes.add_service(
                $server::new($face.clone())
                    .max_decoding_message_size(LARGEST_REQUEST_BYTES)
                    .max_encoding_message_size(LARGEST_ANSWER_BYTES),
            );
        )+
    };
}

/// How a service is to answer.
#[derive(Clone, Default)]
pub struct Service {
    /// TLS, with the certificate shown and whose certificates are taken; absent: none.
    pub tls: Option<Arc<rustls::ServerConfig>>,
    /// How much is taken at once.
    pub room: Room,
    /// Pages for people on the same port; absent: none.
    pub pages: Option<axum::Router>,
}

/// Answers on `listener` until `shutdown` is done.
///
/// # Errors
/// [`ServeError`]: the socket failed, or the contract does not read.
pub async fn serve(
    desk: Desk,
    listener: TcpListener,
    service: Service,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let (stop, stopping) = watch::channel(false);
    let gate = Gate::new(desk.clone(), service.room, service.pages.is_some());
    let face = Face::new(desk.clone(), stopping.clone());
    let (health, health_server) = tonic_health::server::health_reporter();
    let reflection = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(proto::DESCRIPTORS)
            .register_encoded_file_descriptor_set(tonic_types::pb::FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let routes = Routes::new(health_server)
        .add_service(reflection().build_v1()?)
        .add_service(reflection().build_v1alpha()?);
    let mut names = vec![""];
    services! {
        routes, face, names;
        OfficeServiceServer,
        IntakeServiceServer,
        StockServiceServer,
        OutletServiceServer,
        ReceivingServiceServer,
        CloseServiceServer,
        CodesServiceServer,
        LandingReportServiceServer,
        YieldServiceServer,
        StatementServiceServer,
        SettlementServiceServer,
        ClockServiceServer,
        KeyServiceServer,
        AuditServiceServer,
    }
    let routes = match service.pages {
        None => routes,
        // What is nobody's path is answered by the pages: of the contract's paths the
        // gate lets none through that is not there.
        Some(pages) => Routes::from(routes.into_axum_router().reset_fallback().merge(pages)),
    };
    let router = Server::builder()
        .layer(gate.clone())
        .accept_http1(true)
        .max_concurrent_streams(STREAMS_PER_CONNECTION)
        .http2_max_header_list_size(LARGEST_HEADERS_BYTES)
        .http2_keepalive_interval(Some(SILENCE))
        .http2_keepalive_timeout(Some(SILENCE))
        .add_routes(routes);
    say(&health, &names, ServingStatus::Serving).await;

    let incoming = transport::incoming(listener, service.tls);
    let mut told = stopping;
    let server = router.serve_with_incoming_shutdown(incoming, async move {
        // An error is a stop as well: whoever could say so has gone.
        let _gone = told.wait_for(|stopping| *stopping).await;
    });
    tokio::pin!(server);
    tokio::select! {
        ended = &mut server => return Ok(ended?),
        never = each_second(&desk, &gate, &health, &names) => match never {},
        () = shutdown => {}
    }
    say(&health, &names, ServingStatus::NotServing).await;
    stop.send_replace(true);
    let all_answered = async {
        tokio::time::sleep(SETTLE).await;
        while !(gate.is_empty() && face.has_no_streams()) {
            tokio::time::sleep(SETTLE).await;
        }
    };
    let ended = tokio::select! {
        ended = &mut server => ended,
        // Whoever only watches, or keeps a connection without a request, is not waited for.
        () = all_answered => Ok(()),
        () = tokio::time::sleep(GRACE) => {
            tracing::warn!(grace_seconds = GRACE.as_secs(), "left requests that did not end");
            Ok(())
        }
    };
    if let Err(error) = desk.write_refusals().await {
        tracing::warn!(%error, "what was refused last is not written");
    }
    Ok(ended?)
}

/// Keeps up with other instances of the book, writes what was refused, and says by
/// health whether the book can be reached.
async fn each_second(
    desk: &Desk,
    gate: &Gate,
    health: &HealthReporter,
    names: &[&'static str],
) -> Infallible {
    let mut reached = true;
    let mut seconds = tokio::time::interval(Duration::from_secs(1));
    seconds.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        seconds.tick().await;
        gate.tidy();
        let kept_up = desk.keep_up().await;
        if let Err(error) = &kept_up {
            tracing::warn!(%error, "what other instances put on file is not read");
        }
        if kept_up.is_ok() != reached {
            reached = kept_up.is_ok();
            let status = if reached {
                ServingStatus::Serving
            } else {
                ServingStatus::NotServing
            };
            say(health, names, status).await;
        }
        if let Err(error) = desk.write_refusals().await {
            tracing::warn!(%error, "refusals of a second are not written");
        }
    }
}

async fn say(health: &HealthReporter, names: &[&'static str], status: ServingStatus) {
    for name in names {
        health.set_service_status(*name, status).await;
    }
}

#[cfg(test)]
mod tests;
