//! Metrics for Prometheus, on an address of their own.
//!
//! Names are the field's: OpenTelemetry's semantic conventions for calls, Prometheus's
//! for units. No label names a party, a key or a request, and a path that is no method
//! of the contract is "other", so that their number stays small.

use std::net::SocketAddr;

use metrics_exporter_prometheus::{BuildError, Matcher, PrometheusBuilder};

/// Upper edges of the histogram of durations, seconds: those that OpenTelemetry's
/// conventions advise for calls (from memory).
const SECONDS: &[f64] = &[
    0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0,
];

/// Upper edges of the histogram of deeds in a transaction.
const DEEDS: &[f64] = &[
    1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 1024.0,
];

/// Answers `GET /metrics` on `address` from now on.
///
/// # Errors
/// The address cannot be answered on.
pub(crate) fn export(address: SocketAddr) -> Result<(), BuildError> {
    let builder = PrometheusBuilder::new()
        .set_buckets_for_metric(Matcher::Suffix("duration_seconds".to_owned()), SECONDS)?
        .set_buckets_for_metric(Matcher::Full("weighhouse_group_deeds".to_owned()), DEEDS)?
        .with_http_listener(address);
    builder.install()
}
