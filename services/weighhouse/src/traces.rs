//! Spans of requests for an OpenTelemetry collector, by OTLP over gRPC.
//!
//! Only in a program built with the feature `otlp`. A span is named by what is done and
//! carries the method and the caller's role and key's name; no amounts, no weights.

use opentelemetry::trace::TracerProvider as _;
use opentelemetry_otlp::{ExporterBuildError, SpanExporter, WithExportConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::trace::{SdkTracer, SdkTracerProvider};
use tracing::Subscriber;
use tracing_opentelemetry::OpenTelemetryLayer;
use tracing_subscriber::registry::LookupSpan;

/// The layer that sends spans to a collector, and what ends it in order.
///
/// # Errors
/// The address is none. Inside of a tokio runtime only.
pub(crate) fn layer<S>(
    collector: &str,
) -> Result<(OpenTelemetryLayer<S, SdkTracer>, SdkTracerProvider), ExporterBuildError>
where
    S: Subscriber + for<'span> LookupSpan<'span>,
{
    let exporter = SpanExporter::builder()
        .with_tonic()
        .with_endpoint(collector)
        .build()?;
    let provider = SdkTracerProvider::builder()
        .with_batch_exporter(exporter)
        .with_resource(Resource::builder().with_service_name("weighhouse").build())
        .build();
    let layer = tracing_opentelemetry::layer().with_tracer(provider.tracer("weighhouse"));
    Ok((layer, provider))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use opentelemetry_proto::tonic::collector::trace::v1::trace_service_server::{
        TraceService, TraceServiceServer,
    };
    use opentelemetry_proto::tonic::collector::trace::v1::{
        ExportTraceServiceRequest, ExportTraceServiceResponse,
    };
    use tokio::net::TcpListener;
    use tokio::sync::mpsc;
    use tonic::transport::server::TcpIncoming;
    use tonic::{Request, Response, Status};
    use tracing_subscriber::layer::SubscriberExt as _;

    use super::*;

    struct Collector(mpsc::UnboundedSender<ExportTraceServiceRequest>);

    #[tonic::async_trait]
    impl TraceService for Collector {
        async fn export(
            &self,
            request: Request<ExportTraceServiceRequest>,
        ) -> Result<Response<ExportTraceServiceResponse>, Status> {
            self.0.send(request.into_inner()).unwrap();
            Ok(Response::new(ExportTraceServiceResponse::default()))
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_span_reaches_the_collector_with_its_fields() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let collector = format!("http://{}", listener.local_addr().unwrap());
        let (sender, mut sent) = mpsc::unbounded_channel();
        tokio::spawn(
            tonic::transport::Server::builder()
                .add_service(TraceServiceServer::new(Collector(sender)))
                .serve_with_incoming(TcpIncoming::from(listener)),
        );
        let (layer, provider) = layer(&collector).unwrap();
        let subscriber = tracing_subscriber::registry().with(layer);
        tracing::subscriber::with_default(subscriber, || {
            tracing::info_span!("request", rpc.method = "/a/B").in_scope(|| {});
        });
        tokio::task::spawn_blocking(move || provider.shutdown())
            .await
            .unwrap()
            .unwrap();
        let request = sent.recv().await.unwrap();
        let resource = &request.resource_spans[0];
        let span = &resource.scope_spans[0].spans[0];
        assert_eq!(span.name, "request");
        let method = span.attributes.iter().find(|a| a.key == "rpc.method");
        assert!(format!("{method:?}").contains("/a/B"), "{method:?}");
    }
}
