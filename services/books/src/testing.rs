//! For tests of this crate and of those on top of it: fresh books on either engine,
//! and troubles planned ahead.
//!
//! A check that must hold on both engines is one `async fn check_it(db: Db)`;
//! [`conformance!`](crate::conformance) makes the two tests of it. SQLite books are
//! files in the system's temporary folder. PostgreSQL books are databases of the
//! cluster that `WEIGHHOUSE_TEST_POSTGRES` (the URL of an administrator) names, cloned
//! from a template that is migrated once for each schema.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};

use sha2::{Digest as _, Sha256};
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};

use crate::db::{Db, EngineError};

/// Environment variable with the URL of a PostgreSQL administrator.
pub const POSTGRES: &str = "WEIGHHOUSE_TEST_POSTGRES";

/// Makes two tests of one check, an `async fn(Db)`: `$name::sqlite` and
/// `$name::postgres`, of which the second is ignored unless asked for.
#[macro_export]
macro_rules! conformance {
    ($($(#[$attribute:meta])* $name:ident, $check:path;)+) => {$(
        $(#[$attribute])*
        mod $name {
            #[allow(unused_imports, reason = "the check may be named by a path of its own")]
            use super::*;

            #[tokio::test]
            async fn sqlite() {
                $crate::testing::on_sqlite($check).await;
            }

            #[tokio::test]
            #[ignore = "needs PostgreSQL; run by tests/all"]
            async fn postgres() {
                $crate::testing::on_postgres($check).await;
            }
        }
    )+};
}

/// Runs a check on a fresh SQLite book.
pub async fn on_sqlite<C: AsyncFnOnce(Db)>(check: C) {
    let book = Book::sqlite();
    let db = book.open().await;
    check(db.clone()).await;
    db.close().await;
    book.remove().await;
}

/// Runs a check on a fresh PostgreSQL book. A failed one leaves its database behind.
///
/// # Panics
/// When there is no PostgreSQL to run it on.
pub async fn on_postgres<C: AsyncFnOnce(Db)>(check: C) {
    let book = Book::postgres().await;
    let db = book.open().await;
    check(db.clone()).await;
    db.close().await;
    book.remove().await;
}

/// A fresh book for a test: a place that nobody else uses.
#[derive(Debug)]
pub struct Book {
    /// Where it is, to open it or to hand to a program.
    pub url: String,
    home: Home,
}

#[derive(Debug)]
enum Home {
    Folder(PathBuf),
    Database { admin: String, name: String },
}

/// Tells the books of one process apart.
static BOOKS: AtomicU32 = AtomicU32::new(0);

fn next_name() -> String {
    let n = BOOKS.fetch_add(1, Ordering::Relaxed);
    format!("weighhouse_{}_{n}", std::process::id())
}

impl Book {
    /// A book in a file that is not there yet.
    ///
    /// # Panics
    /// When the temporary folder cannot be written.
    pub fn sqlite() -> Book {
        let folder = std::env::temp_dir().join(next_name());
        // One of an earlier process with our number.
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
        Book {
            url: format!("sqlite://{}", folder.join("books.db").display()),
            home: Home::Folder(folder),
        }
    }

    /// A book in a database of its own, already migrated.
    ///
    /// # Panics
    /// When there is no PostgreSQL, or it refuses.
    pub async fn postgres() -> Book {
        let (admin, mut server) = server().await;
        let template = template(&admin, &mut server).await;
        Book::clone_of(&template, admin, server).await
    }

    /// A book in a database of its own that nobody has opened.
    ///
    /// # Panics
    /// When there is no PostgreSQL, or it refuses.
    pub async fn empty_postgres() -> Book {
        let (admin, server) = server().await;
        Book::clone_of("template0", admin, server).await
    }

    async fn clone_of(template: &str, admin: String, mut server: PgConnection) -> Book {
        let name = next_name();
        let old = format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)");
        run(&mut server, &old).await;
        let new = format!("CREATE DATABASE {name} TEMPLATE {template}");
        run(&mut server, &new).await;
        Book {
            url: with_database(&admin, &name),
            home: Home::Database { admin, name },
        }
    }

    /// Opens it.
    ///
    /// # Panics
    /// When it cannot be opened.
    pub async fn open(&self) -> Db {
        Db::open(&self.url).await.expect("a fresh book opens")
    }

    /// Throws it away.
    ///
    /// # Panics
    /// When PostgreSQL refuses.
    pub async fn remove(self) {
        match self.home {
            Home::Folder(folder) => {
                let _ = std::fs::remove_dir_all(folder);
            }
            Home::Database { admin, name } => {
                let mut server = connect(&admin).await;
                run(&mut server, &format!("DROP DATABASE {name} WITH (FORCE)")).await;
            }
        }
    }
}

async fn server() -> (String, PgConnection) {
    let admin = std::env::var(POSTGRES)
        .unwrap_or_else(|_| panic!("{POSTGRES} names no PostgreSQL to test on"));
    let server = connect(&admin).await;
    (admin, server)
}

async fn connect(admin: &str) -> PgConnection {
    let server = PgConnection::connect(admin).await;
    server.expect("PostgreSQL answers")
}

/// The database that books are cloned from, made by whoever comes first.
async fn template(admin: &str, server: &mut PgConnection) -> String {
    let sha256 = Sha256::digest(crate::db::schema_text());
    let name = format!("weighhouse_template_{}", crate::db::hex(&sha256[..6]));
    run(server, "SELECT pg_advisory_lock(7)").await;
    let there: bool =
        sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)")
            .bind(&name)
            .fetch_one(&mut *server)
            .await
            .expect("PostgreSQL answers");
    if !there {
        let draft = format!("{name}_draft");
        run(
            server,
            &format!("DROP DATABASE IF EXISTS {draft} WITH (FORCE)"),
        )
        .await;
        run(server, &format!("CREATE DATABASE {draft}")).await;
        let db = Db::open(&with_database(admin, &draft)).await;
        db.expect("the schema suits PostgreSQL").close().await;
        // A clone needs its model left alone; a session just closed may linger.
        run(
            server,
            &format!(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity \
                 WHERE datname = '{draft}'"
            ),
        )
        .await;
        run(server, &format!("ALTER DATABASE {draft} RENAME TO {name}")).await;
    }
    run(server, "SELECT pg_advisory_unlock(7)").await;
    name
}

async fn run(server: &mut PgConnection, sql: &str) {
    sqlx::raw_sql(AssertSqlSafe(sql))
        .execute(server)
        .await
        .unwrap_or_else(|error| panic!("{sql}: {error}"));
}

/// `url` with another database.
fn with_database(url: &str, name: &str) -> String {
    let (before, query) = match url.split_once('?') {
        Some((before, query)) => (before, format!("?{query}")),
        None => (url, String::new()),
    };
    let start = before.find("://").map_or(0, |at| at + 3);
    let server = before[start..]
        .find('/')
        .map_or(before, |at| &before[..start + at]);
    format!("{server}/{name}{query}")
}

/// A trouble to meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// A statement is told that someone else is in the way.
    Busy,
    /// A statement finds its connection lost.
    Gone,
    /// A statement is refused.
    Refused,
    /// The connection is lost before COMMIT is sent.
    CommitNeverSent,
    /// COMMIT is done, and its answer is lost.
    CommitAnswerLost,
}

impl Fault {
    fn at_commit(self) -> bool {
        matches!(self, Fault::CommitNeverSent | Fault::CommitAnswerLost)
    }

    pub(crate) fn into_error(self) -> EngineError {
        match self {
            Fault::Busy => EngineError::Busy(Faults::error()),
            Fault::Gone => EngineError::Gone(Faults::error()),
            Fault::Refused => EngineError::Refused(Faults::error()),
            Fault::CommitNeverSent | Fault::CommitAnswerLost => {
                EngineError::CommitUnknown(Faults::error())
            }
        }
    }
}

/// Troubles planned for a book, each met once.
#[derive(Debug, Default)]
pub struct Faults(Mutex<Vec<(u32, Fault)>>);

impl Faults {
    /// Plans `fault` for the `n`-th statement, or COMMIT, from now; the next is the 1st.
    /// BEGIN is a statement.
    pub fn plan(&self, n: u32, fault: Fault) {
        self.planned().push((n, fault));
    }

    /// Plans nothing any more.
    pub fn forget(&self) {
        self.planned().clear();
    }

    /// How many troubles are still to be met.
    pub fn left(&self) -> usize {
        self.planned().len()
    }

    pub(crate) fn at_statement(&self) -> Option<Fault> {
        self.step(|fault| !fault.at_commit())
    }

    pub(crate) fn at_commit(&self) -> Option<Fault> {
        self.step(Fault::at_commit)
    }

    pub(crate) fn error() -> sqlx::Error {
        sqlx::Error::Io(std::io::Error::other("planned by a test"))
    }

    fn step(&self, here: impl Fn(Fault) -> bool) -> Option<Fault> {
        let mut planned = self.planned();
        for (left, fault) in planned.iter_mut() {
            if here(*fault) {
                *left = left.saturating_sub(1);
            }
        }
        let met = planned.iter().position(|(left, _)| *left == 0)?;
        Some(planned.remove(met).1)
    }

    fn planned(&self) -> std::sync::MutexGuard<'_, Vec<(u32, Fault)>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
