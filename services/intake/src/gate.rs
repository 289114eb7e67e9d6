//! The gate: who asks, and whether there is room.
//!
//! It stands before every method of the contract, before a message is read. Health and
//! reflection are outside: health stays truthful under load, and the contract is no
//! secret. In order: room in the house, a key or a certificate, the caller's own rate,
//! then the method, by the caller's deadline. What a caller may do is decided at the
//! desk.
//!
//! A request for a page takes its place in the house here and is let through: pages
//! find out by themselves who is signed in, and nothing of the contract reads a cookie.

use std::convert::Infallible;
use std::future::Future;
use std::num::NonZeroU32;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use desk::{Caller, Desk};
use governor::clock::{Clock as _, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use http::{HeaderMap, Request, Response};
use tokio::sync::Semaphore;
use tonic::body::Body;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};
use tower::{Layer, Service};
use tracing::Instrument as _;

use crate::errors::DOMAIN;
use crate::face::LetIn;
use crate::sha256_of_secret;
use crate::transport::Peer;

/// Paths that need no key.
const OPEN: [&str; 2] = ["/grpc.health.v1.", "/grpc.reflection."];
/// How the paths of services begin, whatever is sent to them.
const SERVICES: [&str; 2] = ["/weighhouse.", "/grpc."];
/// When to come back when the house is full.
const FULL_RETRY: Duration = Duration::from_millis(250);
/// Time that an answer needs on its way.
const WORDS_TIME: Duration = Duration::from_millis(20);
/// Longest deadline a caller may set: gRPC allows eight digits of hours.
const LONGEST_DEADLINE: Duration = Duration::from_secs(24 * 60 * 60);

/// How much is taken at once.
#[derive(Debug, Clone, Copy)]
pub struct Room {
    /// Requests under way in the whole house.
    pub under_way: usize,
    /// Requests of one caller a second, on the average.
    pub a_second: NonZeroU32,
    /// Requests of one caller at once, after a rest.
    pub at_once: NonZeroU32,
}

impl Default for Room {
    fn default() -> Room {
        const A_SECOND: NonZeroU32 = NonZeroU32::new(2_000).expect("not zero");
        const AT_ONCE: NonZeroU32 = NonZeroU32::new(4_000).expect("not zero");
        Room {
            under_way: 1024,
            a_second: A_SECOND,
            at_once: AT_ONCE,
        }
    }
}

/// The gate, to be laid before the services.
#[derive(Clone)]
pub(crate) struct Gate {
    desk: Desk,
    room: Arc<Semaphore>,
    places: usize,
    rates: Arc<DefaultKeyedRateLimiter<i64>>,
    /// Whether there are pages behind it.
    pages: bool,
}

impl Gate {
    pub(crate) fn new(desk: Desk, room: Room, pages: bool) -> Gate {
        let quota = Quota::per_second(room.a_second).allow_burst(room.at_once);
        Gate {
            desk,
            room: Arc::new(Semaphore::new(room.under_way)),
            places: room.under_way,
            rates: Arc::new(RateLimiter::keyed(quota)),
            pages,
        }
    }

    /// Whether nothing is under way.
    pub(crate) fn is_empty(&self) -> bool {
        self.room.available_permits() == self.places
    }

    /// Forgets callers that have been quiet, so that the map of rates stays small.
    pub(crate) fn tidy(&self) {
        self.rates.retain_recent();
    }

    async fn let_in(&self, shown: Result<String, Turned>) -> Result<Caller, Turned> {
        let nobody = |turned: Turned| Turned {
            actor: "nobody".to_owned(),
            ..turned
        };
        let sha256 = shown.map_err(nobody)?;
        let found = self.desk.caller(&sha256).await;
        let caller = match found {
            Ok(Some(caller)) => caller,
            Ok(None) => return Err(nobody(Turned::no_key("this key opens nothing"))),
            Err(error) => return Err(nobody(Turned::from(crate::errors::Refusal::from(error)))),
        };
        if let Err(not_until) = self.rates.check_key(&caller.key) {
            return Err(Turned {
                actor: caller.name(),
                ..Turned::busy(
                    "TOO_MANY_REQUESTS",
                    "this key asks more often than it may; come back a little later",
                    not_until.wait_time_from(DefaultClock::default().now()),
                )
            });
        }
        Ok(caller)
    }
}

/// Why a request was turned away.
struct Turned {
    actor: String,
    reason: &'static str,
    status: Status,
}

impl Turned {
    fn new(reason: &'static str, code: Code, message: &str, retry: Option<Duration>) -> Turned {
        let mut details = ErrorDetails::with_error_info(reason, DOMAIN, []);
        if retry.is_some() {
            details.set_retry_info(retry);
        }
        Turned {
            actor: String::new(),
            reason,
            status: Status::with_error_details(code, message, details),
        }
    }

    fn no_key(message: &str) -> Turned {
        Turned::from(crate::errors::Refusal::no_key(message))
    }

    fn busy(reason: &'static str, message: &str, retry: Duration) -> Turned {
        Turned::new(reason, Code::ResourceExhausted, message, Some(retry))
    }
}

impl From<crate::errors::Refusal> for Turned {
    fn from(refusal: crate::errors::Refusal) -> Turned {
        Turned {
            actor: String::new(),
            reason: refusal.reason,
            status: refusal.into(),
        }
    }
}

/// What a request shows: the SHA-256 of its key, or of the connection's certificate.
fn credential(request: &Request<Body>) -> Result<String, Turned> {
    match request.headers().get(http::header::AUTHORIZATION) {
        Some(shown) => shown
            .to_str()
            .ok()
            .and_then(|text| text.split_once(' '))
            .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
            .and_then(|(_, secret)| sha256_of_secret(secret.trim()))
            .ok_or_else(|| Turned::no_key("authorization must be: Bearer KEY")),
        None => request
            .extensions()
            .get::<Peer>()
            .and_then(|peer| peer.certificate_sha256.clone())
            .ok_or_else(|| {
                Turned::no_key("show a key, as authorization: Bearer KEY, or a certificate")
            }),
    }
}

/// `grpc-timeout`, taken out of the headers: 1 to 8 digits and a unit.
fn deadline(headers: &mut HeaderMap) -> Option<Duration> {
    let value = headers.remove("grpc-timeout")?;
    let text = value.to_str().ok()?;
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let n: u64 = digits.parse().ok()?;
    let deadline = match unit {
        "H" => Duration::from_secs(n.checked_mul(3600)?),
        "M" => Duration::from_secs(n.checked_mul(60)?),
        "S" => Duration::from_secs(n),
        "m" => Duration::from_millis(n),
        "u" => Duration::from_micros(n),
        "n" => Duration::from_nanos(n),
        _ => return None,
    };
    Some(deadline.min(LONGEST_DEADLINE))
}

/// A little less than the caller gives, so that our words come before the library's own
/// and are on their way before the caller stops listening.
fn on_time(deadline: Duration) -> Duration {
    deadline.saturating_sub((deadline / 8).min(WORDS_TIME))
}

impl<S> Layer<S> for Gate {
    type Service = Guarded<S>;

    fn layer(&self, inner: S) -> Guarded<S> {
        Guarded {
            gate: self.clone(),
            inner,
        }
    }
}

/// A service behind the gate.
#[derive(Clone)]
pub(crate) struct Guarded<S> {
    gate: Gate,
    inner: S,
}

impl<S> Service<Request<Body>> for Guarded<S>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible>
        + Clone
        + Send
        + 'static,
    S::Future: Send,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, mut request: Request<Body>) -> Self::Future {
        // The clone takes the turn that was got ready; this one gets ready anew.
        let mut inner = self.inner.clone();
        std::mem::swap(&mut inner, &mut self.inner);
        if OPEN
            .iter()
            .any(|open| request.uri().path().starts_with(open))
        {
            return Box::pin(inner.call(request));
        }
        let gate = self.gate.clone();
        if gate.pages && is_for_a_page(&request) {
            return Box::pin(async move {
                match gate.room.try_acquire() {
                    Ok(_place) => inner.call(request).await,
                    Err(_) => Ok(full_house()),
                }
            });
        }
        let method = request.uri().path().to_owned();
        let span = tracing::info_span!(
            "request",
            rpc.system.name = "grpc",
            rpc.method = %method,
            key = tracing::field::Empty,
        );
        let started = Instant::now();
        let answered = async move {
            // Held until the answer begins; a stream is slowed by its own limits.
            let Ok(_place) = gate.room.try_acquire() else {
                let full = Turned::busy(
                    "BUSY",
                    "more is under way than there is room for; come back a little later",
                    FULL_RETRY,
                );
                return Ok(turn_away(&gate, &method, full, started).await);
            };
            let shown = credential(&request);
            let caller = match gate.let_in(shown).await {
                Ok(caller) => caller,
                Err(turned) => return Ok(turn_away(&gate, &method, turned, started).await),
            };
            if gate.pages && !proto::methods().contains(method.as_str()) {
                measure(&method, Code::Unimplemented, started);
                return Ok(Status::unimplemented("").into_http());
            }
            // A key is named by its entry: the log names nobody.
            tracing::Span::current().record("key", caller.key);
            request.extensions_mut().insert(LetIn {
                caller: caller.clone(),
                method: method.as_str().into(),
            });
            let answer = match deadline(request.headers_mut()) {
                None => inner.call(request).await?,
                Some(deadline) => {
                    match tokio::time::timeout(on_time(deadline), inner.call(request)).await {
                        Ok(answer) => answer?,
                        Err(_) => {
                            let late = Turned {
                                actor: caller.name(),
                                ..Turned::new(
                                    "TOO_LATE",
                                    Code::DeadlineExceeded,
                                    "not answered in the time given; what was asked may have been \
                                 booked: ask again with the same request_id",
                                    None,
                                )
                            };
                            return Ok(turn_away(&gate, &method, late, started).await);
                        }
                    }
                }
            };
            measure(&method, status_of(&answer), started);
            Ok(answer)
        };
        Box::pin(answered.instrument(span))
    }
}

/// Whether nothing of the contract is meant: neither its paths nor its messages.
fn is_for_a_page(request: &Request<Body>) -> bool {
    let path = request.uri().path();
    let kind = request.headers().get(http::header::CONTENT_TYPE);
    let is_message = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"application/grpc"));
    !is_message && !SERVICES.iter().any(|start| path.starts_with(start))
}

/// What a page's reader is told when the house is full.
fn full_house() -> Response<Body> {
    let words = "More is under way than there is room for. Come back in a moment.\n";
    let mut answer = Response::new(Body::new(words.to_owned()));
    *answer.status_mut() = http::StatusCode::SERVICE_UNAVAILABLE;
    let headers = answer.headers_mut();
    headers.insert(
        http::header::CONTENT_TYPE,
        http::HeaderValue::from_static("text/plain; charset=utf-8"),
    );
    headers.insert(
        http::header::RETRY_AFTER,
        http::HeaderValue::from_static("1"),
    );
    answer
}

async fn turn_away(gate: &Gate, method: &str, turned: Turned, started: Instant) -> Response<Body> {
    let actor = if turned.actor.is_empty() {
        "anybody"
    } else {
        &turned.actor
    };
    let method = known(method);
    tracing::debug!(method, reason = turned.reason, "turned away");
    gate.desk.refused(actor, method, turned.reason, "").await;
    measure(method, turned.status.code(), started);
    turned.status.into_http()
}

/// A method of the contract, or a word for all that are none.
fn known(path: &str) -> &str {
    if proto::methods().contains(path) {
        path
    } else {
        "other"
    }
}

/// The status an answer begins with: an error says it there, an answer at its end.
fn status_of(answer: &Response<Body>) -> Code {
    answer
        .headers()
        .get("grpc-status")
        .map_or(Code::Ok, |code| Code::from_bytes(code.as_bytes()))
}

/// Named as OpenTelemetry's semantic conventions for RPC name it.
fn measure(method: &str, code: Code, started: Instant) {
    metrics::histogram!(
        "rpc_server_call_duration_seconds",
        "rpc_system_name" => "grpc",
        "rpc_method" => known(method).to_owned(),
        "rpc_response_status_code" => format!("{code:?}"),
    )
    .record(started.elapsed().as_secs_f64());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_deadline_is_read_as_grpc_writes_it() {
        let cases = [
            ("1H", Some(Duration::from_secs(3600))),
            ("2M", Some(Duration::from_secs(120))),
            ("3S", Some(Duration::from_secs(3))),
            ("4m", Some(Duration::from_millis(4))),
            ("5u", Some(Duration::from_micros(5))),
            ("6n", Some(Duration::from_nanos(6))),
            ("99999999H", Some(LONGEST_DEADLINE)),
            ("999999999m", None),
            ("m", None),
            ("", None),
            ("-1S", None),
            ("1s", None),
        ];
        for (text, expected) in cases {
            let mut headers = HeaderMap::new();
            headers.insert("grpc-timeout", text.parse().expect("a header"));
            assert_eq!(deadline(&mut headers), expected, "{text}");
            assert!(headers.is_empty(), "nobody further in sees it");
        }
    }

    #[test]
    fn a_page_is_what_is_no_path_of_a_service_and_no_message() {
        let cases = [
            ("/", "", true),
            ("/sign-in", "application/x-www-form-urlencoded", true),
            ("/weigh-in", "", true),
            ("/", "application/grpc", false),
            ("/a/b", "application/grpc+proto", false),
            ("/weighhouse.v1.IntakeService/RecordWeighIn", "", false),
            ("/weighhouse.v1.IntakeService/Nothing", "text/html", false),
            ("/grpc.health.v1.Health/Check", "", false),
        ];
        for (path, kind, expected) in cases {
            let mut request = Request::new(Body::empty());
            *request.uri_mut() = path.parse().expect("a path");
            if !kind.is_empty() {
                let kind = kind.parse().expect("a header");
                let headers = request.headers_mut();
                headers.insert(http::header::CONTENT_TYPE, kind);
            }
            assert_eq!(is_for_a_page(&request), expected, "{path} {kind}");
        }
    }

    #[test]
    fn only_methods_of_the_contract_are_named() {
        let method = "/weighhouse.v1.IntakeService/RecordWeighIn";
        assert_eq!(known(method), method);
        for other in ["/", "/weighhouse.v1.IntakeService/Nothing", "/a/b", ""] {
            assert_eq!(known(other), "other");
        }
    }
}
