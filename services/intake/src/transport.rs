//! Connections: how many, how long they may be silent at first, and TLS.
//!
//! A peer that connects and says nothing, or half of a greeting, is dropped after
//! [`FIRST_WORDS`]. Beyond the most connections a new one waits in the kernel's queue
//! until another ends. TLS is rustls; HTTP/2 and HTTP/1.1 are told apart after it.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use rustls::ServerConfig;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::time::{Instant, Sleep};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;
use tokio_stream::wrappers::ReceiverStream;
use tonic::transport::server::Connected;

use crate::sha256;

/// Connections at once.
const CONNECTIONS: usize = 1024;
/// Time for the handshake, and then for the first words of a request.
const FIRST_WORDS: Duration = Duration::from_secs(10);
/// As long as HTTP/2's greeting: by then it is known what the peer speaks.
const FIRST_BYTES: usize = 24;
/// Connections that are through the handshake and wait to be served.
const WAITING: usize = 64;

/// Who is at the other end.
#[derive(Debug, Clone)]
pub(crate) struct Peer {
    /// SHA-256 of the client certificate that was verified.
    pub(crate) certificate_sha256: Option<String>,
}

/// Connections as they come, each through its handshake.
pub(crate) fn incoming(
    listener: TcpListener,
    tls: Option<Arc<ServerConfig>>,
) -> ReceiverStream<io::Result<Connection>> {
    let (ready, stream) = mpsc::channel(WAITING);
    let acceptor = tls.map(TlsAcceptor::from);
    tokio::spawn(async move {
        let room = Arc::new(Semaphore::new(CONNECTIONS));
        loop {
            let Ok(place) = Arc::clone(&room).acquire_owned().await else {
                return;
            };
            let accepted = tokio::select! {
                accepted = listener.accept() => accepted,
                () = ready.closed() => return,
            };
            match accepted {
                Ok((socket, address)) => {
                    let (acceptor, ready) = (acceptor.clone(), ready.clone());
                    tokio::spawn(async move {
                        if let Some(connection) = greet(socket, address, acceptor, place).await {
                            let _nobody_serves = ready.send(Ok(connection)).await;
                        }
                    });
                }
                // Out of descriptors, or the peer has gone again: neither ends the service.
                Err(error) => {
                    tracing::warn!(%error, "a connection was not taken");
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            }
        }
    });
    ReceiverStream::new(stream)
}

async fn greet(
    socket: TcpStream,
    address: SocketAddr,
    acceptor: Option<TlsAcceptor>,
    place: OwnedSemaphorePermit,
) -> Option<Connection> {
    if let Err(error) = socket.set_nodelay(true) {
        tracing::debug!(%address, %error, "a connection has gone");
        return None;
    }
    let link = match acceptor {
        None => Link::Plain(socket),
        Some(acceptor) => match tokio::time::timeout(FIRST_WORDS, acceptor.accept(socket)).await {
            Ok(Ok(stream)) => Link::Tls(Box::new(stream)),
            Ok(Err(error)) => {
                tracing::debug!(%address, %error, "a handshake failed");
                return None;
            }
            Err(_) => {
                tracing::debug!(%address, "a handshake took too long");
                return None;
            }
        },
    };
    Some(Connection {
        link,
        first: Some(First {
            left: FIRST_BYTES,
            until: Box::pin(tokio::time::sleep_until(Instant::now() + FIRST_WORDS)),
        }),
        _place: place,
    })
}

/// A connection that is taken, with its place among them.
pub(crate) struct Connection {
    link: Link,
    /// While it has not said enough.
    first: Option<First>,
    _place: OwnedSemaphorePermit,
}

enum Link {
    Plain(TcpStream),
    Tls(Box<TlsStream<TcpStream>>),
}

struct First {
    left: usize,
    until: Pin<Box<Sleep>>,
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        let certificate = match &self.link {
            Link::Plain(_) => None,
            Link::Tls(stream) => stream
                .get_ref()
                .1
                .peer_certificates()
                .and_then(|chain| chain.first()),
        };
        Peer {
            certificate_sha256: certificate.map(|certificate| sha256(certificate)),
        }
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let read = match &mut self.link {
            Link::Plain(socket) => Pin::new(socket).poll_read(context, buffer),
            Link::Tls(stream) => Pin::new(stream).poll_read(context, buffer),
        };
        let Some(first) = &mut self.first else {
            return read;
        };
        let said = buffer.filled().len() - before;
        if read.is_ready() {
            first.left = first.left.saturating_sub(said);
            if first.left == 0 || said == 0 {
                self.first = None;
            }
            return read;
        }
        match first.until.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncWrite for Connection {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        match &mut self.link {
            Link::Plain(socket) => Pin::new(socket).poll_write(context, bytes),
            Link::Tls(stream) => Pin::new(stream).poll_write(context, bytes),
        }
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.link {
            Link::Plain(socket) => Pin::new(socket).poll_flush(context),
            Link::Tls(stream) => Pin::new(stream).poll_flush(context),
        }
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.link {
            Link::Plain(socket) => Pin::new(socket).poll_shutdown(context),
            Link::Tls(stream) => Pin::new(stream).poll_shutdown(context),
        }
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        match &mut self.link {
            Link::Plain(socket) => Pin::new(socket).poll_write_vectored(context, slices),
            Link::Tls(stream) => Pin::new(stream).poll_write_vectored(context, slices),
        }
    }

    fn is_write_vectored(&self) -> bool {
        match &self.link {
            Link::Plain(socket) => socket.is_write_vectored(),
            Link::Tls(stream) => stream.is_write_vectored(),
        }
    }
}
