//! A book opened and answered for.
//!
//! A fresh book may be made one with a simulated clock; from then on it keeps
//! its own time for every command. An ordinary book goes by the machine's clock
//! and cannot be turned into a simulated one.

use std::sync::Arc;
use std::time::Duration;

use books::{Db, Scribe, book};
use desk::{Clock, Desk};
use tokio::net::TcpListener;

/// Deeds that may wait to be written.
const QUEUE: usize = 4096;
/// Time to write what was taken before a stop.
const GRACE: Duration = Duration::from_secs(10);

/// Why a book could not be opened or answered for.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ServeError {
    /// The engine does not open it.
    #[error("the book cannot be opened: {0}")]
    Open(#[from] books::EngineError),
    /// It opens and does not read.
    #[error("the book cannot be read: {0}")]
    Read(#[from] books::BooksError),
    /// A simulated clock asked for in a book that has been written in.
    #[error(
        "this book has been written in, so its clock stays as it is; a simulated one is for a fresh book"
    )]
    NotFresh,
    /// The instant is beyond what the book can say.
    #[error("the book cannot hold this instant")]
    Instant,
    /// The desk does not open.
    #[error("the desk cannot be opened: {0}")]
    Desk(#[from] desk::DeskError),
    /// The socket failed.
    #[error(transparent)]
    Serve(#[from] intake::ServeError),
}

/// Opens the book at `url`, a fresh one with a simulated clock where an instant
/// for it is given. A book that has such a clock already keeps its time.
pub(crate) async fn open(
    url: &str,
    simulated_from: Option<&prost_types::Timestamp>,
) -> Result<Db, ServeError> {
    let db = Db::open(url).await?;
    if let Some(from) = simulated_from
        && book::simulated_now(&db).await?.is_none()
    {
        if !book::is_fresh(&db).await? {
            return Err(ServeError::NotFresh);
        }
        book::set_simulated_now(&db, micros(from).ok_or(ServeError::Instant)?).await?;
    }
    Ok(db)
}

/// Microseconds since 1970 UTC.
pub(crate) fn micros(at: &prost_types::Timestamp) -> Option<i64> {
    at.seconds
        .checked_mul(1_000_000)?
        .checked_add(i64::from(at.nanos / 1000))
}

/// The instant so many microseconds after 1970 UTC.
pub(crate) fn timestamp(us: i64) -> prost_types::Timestamp {
    let below_a_second = us.rem_euclid(1_000_000) * 1000;
    prost_types::Timestamp {
        seconds: us.div_euclid(1_000_000),
        nanos: i32::try_from(below_a_second).unwrap_or(0),
    }
}

/// A desk with somebody who writes for it.
pub(crate) struct OpenDesk {
    desk: Desk,
    scribe: Scribe,
}

/// Opens the desk of `db`. `machine_us` is the machine's clock, for a book
/// without one of its own.
pub(crate) async fn desk(db: Db, machine_us: fn() -> i64) -> Result<OpenDesk, ServeError> {
    let clock = match book::simulated_now(&db).await? {
        Some(_) => Clock::Simulated,
        None => Clock::Machine(Arc::new(machine_us)),
    };
    let scribe = Scribe::start(db.clone(), QUEUE);
    let desk = Desk::open(db, scribe.clone(), clock).await?;
    Ok(OpenDesk { desk, scribe })
}

impl OpenDesk {
    /// The desk.
    pub(crate) fn desk(&self) -> &Desk {
        &self.desk
    }

    /// Answers on `listener` until `stop` is done; then what was taken is
    /// written.
    pub(crate) async fn answer(
        self,
        listener: TcpListener,
        service: intake::Service,
        stop: impl Future<Output = ()> + Send + 'static,
    ) -> Result<(), ServeError> {
        intake::serve(self.desk, listener, service, stop).await?;
        if tokio::time::timeout(GRACE, self.scribe.stop())
            .await
            .is_err()
        {
            tracing::warn!(
                grace_seconds = GRACE.as_secs(),
                "stopped before all deeds were written; none of those was answered"
            );
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn at(text: &str) -> prost_types::Timestamp {
        client::instant(text).unwrap()
    }

    async fn shows(db: &Db) -> Option<prost_types::Timestamp> {
        book::simulated_now(db).await.unwrap().map(timestamp)
    }

    #[tokio::test]
    async fn only_a_fresh_book_gets_a_simulated_clock_and_keeps_it() {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite://{}", folder.path().join("book.db").display());
        let (first, later) = (at("2031-04-28T06:00:00Z"), at("2031-04-29T06:00:00Z"));

        let ordinary = open(&url, None).await.unwrap();
        assert_eq!(shows(&ordinary).await, None);
        ordinary.close().await;

        let simulated = open(&url, Some(&first)).await.unwrap();
        assert_eq!(shows(&simulated).await, Some(first));
        simulated.close().await;

        let again = open(&url, Some(&later)).await.unwrap();
        assert_eq!(shows(&again).await, Some(first), "it keeps its own time");
        again.close().await;
    }

    #[test]
    fn an_instant_is_the_same_both_ways() {
        for text in ["2031-05-02T14:32:10.5Z", "1969-12-31T23:59:59.25Z"] {
            let instant = at(text);
            assert_eq!(micros(&instant).map(timestamp), Some(instant), "{text}");
        }
    }
}
