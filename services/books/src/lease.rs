//! Who may run a site's night, and until when.
//!
//! A lease bears a number, its fence: who takes the lease gets the next one, and it
//! never goes back. What a night writes names its fence
//! ([`Condition::Fence`](crate::Condition::Fence)) and is refused once somebody else
//! has taken the lease. So a night that slept through its lease writes nothing more,
//! and clocks that disagree cost a night its turn, never the book its truth.

use std::time::Duration;

use crate::BooksError;
use crate::db::{Db, EngineError, Record, Tx, Val};

/// How often to try when somebody is in the way, and the pause between.
const TRIES: u32 = 5;
const PAUSE: Duration = Duration::from_millis(50);

/// A lease, as it stands in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lease {
    /// Site number.
    pub site: i64,
    /// Who took it last, in words.
    pub holder: String,
    /// How often it was taken.
    pub fence: i64,
    /// When it ends, microseconds since 1970 UTC by the clock of whoever took it; 0 where
    /// it was given back.
    pub until_us: i64,
}

/// Who asks for a lease, and for how long.
#[derive(Debug, Clone, Copy)]
pub struct Ask<'a> {
    /// Who asks, in words that tell one process from every other.
    pub holder: &'a str,
    /// The clock of whoever asks, microseconds since 1970 UTC.
    pub now_us: i64,
    /// When it is to end, by the same clock.
    pub until_us: i64,
    /// Whether a holder is known to have ended without giving it back.
    pub is_gone: fn(&str) -> bool,
}

/// What came of asking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Taken {
    /// It is the asker's.
    Ours(Lease),
    /// It is somebody else's, and has not ended.
    Held(Lease),
}

/// Takes a site's lease where it is free: given back, ended, or of a holder who is
/// gone. One of the asker's own name is of an earlier process, and free as well.
///
/// # Errors
/// Engine trouble; whether it was taken is then not known.
pub async fn take(db: &Db, site: i64, ask: Ask<'_>) -> Result<Taken, EngineError> {
    let mut tries = 0;
    loop {
        match try_take(db, site, ask).await {
            Err(error) if error.is_retry() && tries < TRIES => {
                tries += 1;
                tokio::time::sleep(PAUSE).await;
            }
            answer => return answer,
        }
    }
}

async fn try_take(db: &Db, site: i64, ask: Ask<'_>) -> Result<Taken, EngineError> {
    let mut tx = db.write().await?;
    tx.execute(
        "INSERT INTO lease (site, holder, fence, until_us) VALUES (?, '', 0, 0) \
         ON CONFLICT (site) DO NOTHING",
        &[Val::Int(site)],
    )
    .await?;
    let sql = format!("{LEASES} WHERE site = ?");
    let rows = tx.lock(&sql, &[Val::Int(site)]).await?;
    let last = rows.first().map(lease);
    if let Some(last) = &last
        && last.until_us > ask.now_us
        && last.holder != ask.holder
        && !(ask.is_gone)(&last.holder)
    {
        tx.rollback().await;
        return Ok(Taken::Held(last.clone()));
    }
    let ours = Lease {
        site,
        holder: ask.holder.to_owned(),
        fence: last.map_or(0, |last| last.fence) + 1,
        until_us: ask.until_us,
    };
    tx.execute(
        "UPDATE lease SET holder = ?, fence = ?, until_us = ? WHERE site = ?",
        &[
            Val::from(ours.holder.as_str()),
            Val::Int(ours.fence),
            Val::Int(ours.until_us),
            Val::Int(site),
        ],
    )
    .await?;
    tx.commit().await?;
    Ok(Taken::Ours(ours))
}

/// Has a lease end at another time: later, or with 0 given back. False where somebody
/// else took it.
///
/// # Errors
/// Engine trouble.
pub async fn keep_until(db: &Db, lease: &Lease, until_us: i64) -> Result<bool, EngineError> {
    let mut tries = 0;
    loop {
        match try_keep(db, lease, until_us).await {
            Err(error) if error.is_retry() && tries < TRIES => {
                tries += 1;
                tokio::time::sleep(PAUSE).await;
            }
            answer => return answer,
        }
    }
}

async fn try_keep(db: &Db, lease: &Lease, until_us: i64) -> Result<bool, EngineError> {
    let mut tx = db.write().await?;
    let sql = "UPDATE lease SET until_us = ? WHERE site = ? AND fence = ?";
    let binds = [until_us, lease.site, lease.fence].map(Val::Int);
    let kept = tx.execute(sql, &binds).await? == 1;
    tx.commit().await?;
    Ok(kept)
}

/// Whether the fence is still the site's newest. The lease is kept as it is until the
/// transaction ends.
///
/// # Errors
/// Engine trouble.
pub async fn stands(tx: &mut Tx, lease: &Lease) -> Result<bool, EngineError> {
    let sql = format!("{LEASES} WHERE site = ?");
    let rows = tx.lock(&sql, &[Val::Int(lease.site)]).await?;
    Ok(rows.first().is_some_and(|row| row.int(2) == lease.fence))
}

/// Every lease that was ever taken, in order of site.
///
/// # Errors
/// Engine trouble.
pub async fn all(tx: &mut Tx) -> Result<Vec<Lease>, BooksError> {
    let rows = tx.fetch(&format!("{LEASES} ORDER BY site"), &[]).await?;
    Ok(rows.iter().map(lease).collect())
}

const LEASES: &str = "SELECT site, holder, fence, until_us FROM lease";

fn lease(row: &Record) -> Lease {
    Lease {
        site: row.int(0),
        holder: row.text(1).to_owned(),
        fence: row.int(2),
        until_us: row.int(3),
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;
    use crate::conformance;
    use crate::scribe::{Answer, Condition, Deed, write_once};

    conformance! {
        a_lease_is_held_until_it_ends_is_given_back_or_its_holder_is_gone, check_taking;
        what_bears_an_older_fence_is_not_written, check_fence;
        of_many_who_ask_at_once_one_gets_it, check_at_once;
    }

    fn ask(holder: &str, now_us: i64) -> Ask<'_> {
        Ask {
            holder,
            now_us,
            until_us: now_us + 100,
            is_gone: |holder| holder == "dead",
        }
    }

    async fn ours(db: &Db, holder: &str, now_us: i64) -> Lease {
        match take(db, 1, ask(holder, now_us)).await.unwrap() {
            Taken::Ours(lease) => lease,
            Taken::Held(lease) => panic!("held: {lease:?}"),
        }
    }

    async fn check_taking(db: Db) {
        let one = ours(&db, "one", 1_000).await;
        assert_eq!((one.fence, one.until_us), (1, 1_100));
        // Held to its last instant, and no longer.
        for now_us in [1_000, 1_099] {
            let told = take(&db, 1, ask("two", now_us)).await.unwrap();
            assert_eq!(told, Taken::Held(one.clone()), "{now_us}");
        }
        let two = ours(&db, "two", 1_100).await;
        assert_eq!((two.fence, two.until_us), (2, 1_200));
        // What was lost is not to be kept.
        assert!(!keep_until(&db, &one, 9_000).await.unwrap());
        assert!(keep_until(&db, &two, 2_000).await.unwrap());
        let told = take(&db, 1, ask("one", 1_999)).await.unwrap();
        assert!(matches!(told, Taken::Held(held) if held.until_us == 2_000));
        // Given back, it is free at once.
        assert!(keep_until(&db, &two, 0).await.unwrap());
        assert_eq!(ours(&db, "one", 1_300).await.fence, 3);
        // Of an earlier process of the same name, or one that is known to be gone.
        assert_eq!(ours(&db, "one", 1_301).await.fence, 4);
        assert!(
            keep_until(&db, &ours(&db, "one", 1_302).await, 0)
                .await
                .unwrap()
        );
        let dead = ours(&db, "dead", 1_303).await;
        assert_eq!(ours(&db, "two", 1_304).await.fence, dead.fence + 1);
        // Another site has a lease of its own.
        let other = take(&db, 2, ask("three", 1_304)).await.unwrap();
        assert!(matches!(other, Taken::Ours(lease) if lease.fence == 1));
        let mut tx = db.read().await.unwrap();
        let all = all(&mut tx).await.unwrap();
        tx.rollback().await;
        let told: Vec<_> = all.iter().map(|l| (l.site, l.holder.as_str())).collect();
        assert_eq!(told, [(1, "two"), (2, "three")]);
    }

    fn deed(request_id: &str, lease: &Lease) -> Deed {
        Deed {
            must_hold: vec![Condition::Fence {
                site: lease.site,
                fence: lease.fence,
            }],
            rows: Vec::new(),
            ..crate::entries::tests::deed("close", request_id)
        }
    }

    async fn check_fence(db: Db) {
        let never = Lease {
            site: 1,
            holder: String::new(),
            fence: 1,
            until_us: 0,
        };
        let unmet = |answer| matches!(answer, Answer::Unmet(Condition::Fence { .. }));
        assert!(
            unmet(write_once(&db, deed("a", &never)).await),
            "nobody took it"
        );
        let one = ours(&db, "one", 1_000).await;
        let written = write_once(&db, deed("b", &one)).await;
        assert!(matches!(written, Answer::Recorded(_)), "{written:?}");
        let two = ours(&db, "two", 1_100).await;
        assert!(unmet(write_once(&db, deed("c", &one)).await), "taken over");
        // What is in the book is there: a repeat is answered, whoever has the lease.
        let again = write_once(&db, deed("b", &one)).await;
        assert!(matches!(again, Answer::Repeated { .. }), "{again:?}");
        let written = write_once(&db, deed("c", &two)).await;
        assert!(matches!(written, Answer::Recorded(_)), "{written:?}");
        // The clock is no part of it: an ended lease that nobody took still stands.
        let mut tx = db.write().await.unwrap();
        assert!(stands(&mut tx, &two).await.unwrap());
        assert!(!stands(&mut tx, &one).await.unwrap());
        tx.rollback().await;
    }

    async fn check_at_once(db: Db) {
        let names: Vec<String> = (0..8).map(|n| format!("night {n}")).collect();
        let asked = names.iter().map(|name| take(&db, 1, ask(name, 1_000)));
        let mut ours = 0;
        let mut told = Vec::new();
        for answer in futures_of(asked).await {
            match answer.unwrap() {
                Taken::Ours(lease) => {
                    ours += 1;
                    told.push(lease);
                }
                Taken::Held(lease) => told.push(lease),
            }
        }
        assert_eq!(ours, 1);
        assert!(told.iter().all(|lease| *lease == told[0]), "{told:?}");
    }

    /// Runs them all at once.
    async fn futures_of<T>(futures: impl Iterator<Item = impl Future<Output = T>>) -> Vec<T> {
        let mut running: Vec<_> = futures.map(|one| (Box::pin(one), None)).collect();
        std::future::poll_fn(|context| {
            let mut waiting = false;
            for (one, done) in &mut running {
                if done.is_none() {
                    match one.as_mut().poll(context) {
                        std::task::Poll::Ready(value) => *done = Some(value),
                        std::task::Poll::Pending => waiting = true,
                    }
                }
            }
            if waiting {
                std::task::Poll::Pending
            } else {
                std::task::Poll::Ready(())
            }
        })
        .await;
        running.into_iter().filter_map(|(_, done)| done).collect()
    }
}
