//! The service on its socket: what it answers, its limits, and how it stops.
//!
//! It stops in order: health says so, no connection is taken any more, what was
//! begun is finished, and what is not finished in time is left.
//!
//! Two codes are the wire's own, given before a request is read: OUT_OF_RANGE for
//! one above the limit, INTERNAL for text that is not UTF-8.

use std::future::Future;
use std::time::Duration;

use desk::Desk;
use proto::v1::clock_service_server::ClockServiceServer;
use proto::v1::close_service_server::CloseServiceServer;
use proto::v1::codes_service_server::CodesServiceServer;
use proto::v1::intake_service_server::IntakeServiceServer;
use proto::v1::landing_report_service_server::LandingReportServiceServer;
use proto::v1::office_service_server::OfficeServiceServer;
use proto::v1::receiving_service_server::ReceivingServiceServer;
use proto::v1::settlement_service_server::SettlementServiceServer;
use proto::v1::statement_service_server::StatementServiceServer;
use proto::v1::stock_service_server::StockServiceServer;
use proto::v1::yield_service_server::YieldServiceServer;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tonic::server::NamedService;
use tonic::transport::Server;
use tonic::transport::server::TcpIncoming;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::face::Face;

/// Largest request taken.
const LARGEST_REQUEST_BYTES: usize = 4 * 1024 * 1024;
/// Largest answer given: a close of a busy site.
const LARGEST_ANSWER_BYTES: usize = 64 * 1024 * 1024;
/// Requests under way on one connection.
const STREAMS_PER_CONNECTION: u32 = 1024;
/// A peer that says nothing is asked whether it is there after this long, and
/// given up after as long again.
const SILENCE: Duration = Duration::from_secs(30);
/// Time to finish what was begun.
const GRACE: Duration = Duration::from_secs(10);

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
    ($router:ident, $face:ident, $names:ident; $($server:ident),+ $(,)?) => {
        $(
            $names.push(<$server<Face> as NamedService>::NAME);
            let $router = $router.add_service(
                $server::new($face.clone())
                    .max_decoding_message_size(LARGEST_REQUEST_BYTES)
                    .max_encoding_message_size(LARGEST_ANSWER_BYTES),
            );
        )+
    };
}

/// Answers on `listener` until `shutdown` is done.
///
/// # Errors
/// [`ServeError`]: the socket failed, or the contract does not read.
pub async fn serve(
    desk: Desk,
    listener: TcpListener,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let (stop, stopping) = watch::channel(false);
    let face = Face::new(desk, stopping.clone());
    let (health, health_server) = tonic_health::server::health_reporter();
    let reflection = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(proto::DESCRIPTORS)
            .register_encoded_file_descriptor_set(tonic_types::pb::FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let router = Server::builder()
        .max_concurrent_streams(STREAMS_PER_CONNECTION)
        .http2_keepalive_interval(Some(SILENCE))
        .http2_keepalive_timeout(Some(SILENCE))
        .add_service(health_server)
        .add_service(reflection().build_v1()?)
        .add_service(reflection().build_v1alpha()?);
    let mut names = vec![""];
    services! {
        router, face, names;
        OfficeServiceServer,
        IntakeServiceServer,
        StockServiceServer,
        ReceivingServiceServer,
        CloseServiceServer,
        CodesServiceServer,
        LandingReportServiceServer,
        YieldServiceServer,
        StatementServiceServer,
        SettlementServiceServer,
        ClockServiceServer,
    }
    say(&health, &names, ServingStatus::Serving).await;

    let incoming = TcpIncoming::from(listener).with_nodelay(Some(true));
    let mut told = stopping;
    let server = router.serve_with_incoming_shutdown(incoming, async move {
        // An error is a stop as well: whoever could say so has gone.
        let _gone = told.wait_for(|stopping| *stopping).await;
    });
    tokio::pin!(server);
    tokio::select! {
        ended = &mut server => return Ok(ended?),
        () = shutdown => {}
    }
    say(&health, &names, ServingStatus::NotServing).await;
    stop.send_replace(true);
    match tokio::time::timeout(GRACE, server).await {
        Ok(ended) => Ok(ended?),
        Err(_) => {
            tracing::warn!(
                grace_seconds = GRACE.as_secs(),
                "left connections that did not end"
            );
            Ok(())
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
