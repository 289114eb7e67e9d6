//! Weighhouse: the intake service of a dock-side seafood buyer, its nightly job,
//! and the commands that speak to it.
//!
//! This file is the only one that reads arguments, the environment and the
//! machine's clock; everything behind it is handed what it needs. Answers go to
//! stdout, the log to stderr. Exit code: 0 done, and of a night nothing to look
//! at; 1 the service said no, the night raised flags or a rebuild found something
//! otherwise, or the doctor found something to look at; 2 it could not run.

mod backup;
mod certificate;
mod demo;
mod doctor;
mod holder;
mod night;
mod office_key;
mod scales;
mod serve;
mod tls;
#[cfg(feature = "otlp")]
mod traces;
mod watching;

use std::io::{ErrorKind, IsTerminal as _, Write as _};
use std::net::SocketAddr;
use std::num::NonZeroU32;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::{anyhow, bail};
use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand, ValueEnum};
use intake::Room;
use tokio::net::TcpListener;
use tracing_subscriber::EnvFilter;

/// Weigh fish in, pay it by weight band, and know each morning where every
/// pound went
#[derive(Debug, Parser)]
#[command(
    name = "weighhouse",
    version,
    after_help = "Example, everything once with an invented week:
  weighhouse demo"
)]
struct Program {
    #[command(subcommand)]
    command: Command,
    /// What to log to stderr, such as warn, info or books=debug
    #[arg(long, env = "RUST_LOG", default_value = "info", global = true)]
    log: String,
    /// How to log
    #[arg(long, value_enum, default_value_t = LogFormat::Text, global = true)]
    log_format: LogFormat,
    /// Collector that spans are sent to by OTLP over gRPC, such as
    /// http://127.0.0.1:4317; none when left out
    #[cfg(feature = "otlp")]
    #[arg(long, env = "OTEL_EXPORTER_OTLP_ENDPOINT", global = true)]
    traces: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

const TWICE: NonZeroU32 = NonZeroU32::new(2).expect("not zero");

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the intake service
    #[command(after_help = "Example:
  weighhouse serve --book sqlite:weighhouse.db --listen 127.0.0.1:7420")]
    Serve {
        /// Address to answer on; one that other machines reach needs TLS
        #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:7420")]
        listen: SocketAddr,
        #[command(flatten)]
        book: Book,
        /// File for the office's key, made on a book in which none works: only its
        /// owner can read it [default: beside a SQLite book, BOOK.office-key]
        #[arg(long, value_name = "FILE")]
        office_key: Option<PathBuf>,
        /// Certificate to show (PEM), which `weighhouse certificate` makes
        #[arg(long, value_name = "FILE", requires = "tls_key")]
        tls_certificate: Option<PathBuf>,
        /// Its private key (PEM)
        #[arg(long, value_name = "FILE", requires = "tls_certificate")]
        tls_key: Option<PathBuf>,
        /// Authority (PEM) whose certificates let a device in, once they are given out
        /// as keys
        #[arg(long, value_name = "FILE", requires = "tls_certificate")]
        device_authority: Option<PathBuf>,
        /// Answer other machines without TLS: keys can then be read by whoever is on the
        /// network between
        #[arg(long)]
        without_tls: bool,
        /// Address that Prometheus reads metrics from; none when left out. Keep it to
        /// the machine itself: no key is asked for
        #[arg(long, value_name = "ADDRESS")]
        metrics: Option<SocketAddr>,
        /// Requests under way at once in the whole house
        #[arg(long, value_name = "N", default_value_t = Room::default().under_way)]
        requests_under_way: usize,
        /// Requests of one key a second, on the average; twice as many at once
        #[arg(long, value_name = "N", default_value_t = Room::default().a_second)]
        requests_per_second: NonZeroU32,
        /// A scale that sends lines of text, and where they are read from:
        /// SITE/CODE=tcp:HOST:PORT, or SITE/CODE=serial:PATH at the speed the system has
        /// set for it; may be given several times. How a line is read stands with the scale
        #[arg(
            long = "scale",
            value_name = "SCALE",
            env = "WEIGHHOUSE_SCALES",
            value_delimiter = ','
        )]
        scales: Vec<scales::Scale>,
        /// Make a fresh book one with a simulated clock that shows this instant,
        /// for trying out; a book that has such a clock keeps its time
        #[arg(long, value_name = "INSTANT", value_parser = client::instant)]
        simulated_from: Option<prost_types::Timestamp>,
    },
    /// Close a site's business day: balance the weight, raise flags
    #[command(after_help = "Example:
  weighhouse nightly --site 1 --day 2031-05-02
  weighhouse nightly --site 1 --rebuild

Exit code: 0 balanced, 1 flags raised, 2 it could not run. Of a rebuild: 0 all as it
was stored, 1 something was not, 2 it could not run.")]
    Nightly {
        /// Number of the site
        #[arg(long)]
        site: i64,
        /// Business day, YYYY-MM-DD
        #[arg(long, value_parser = night::day, required_unless_present = "rebuild")]
        day: Option<i64>,
        /// Work every closed day out again from its entries, compare, and put worked-out
        /// rows back where they are missing or others; documents are never touched
        #[arg(long, conflicts_with_all = ["day", "json"])]
        rebuild: bool,
        /// Work it out and print it, and record nothing
        #[arg(long)]
        dry_run: bool,
        /// Print the stored document
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        book: Book,
    },
    /// Make a certificate for the service, or for a device that is let in by it
    #[command(after_help = "Examples:
  weighhouse certificate --folder certificates --name dock.local --name 192.168.1.20
  weighhouse certificate --folder certificates --device dock-tablet")]
    Certificate {
        /// Folder for the certificates; the site's authority in it is kept
        #[arg(long)]
        folder: PathBuf,
        /// Name or address that the service is reached by; may be given several times
        #[arg(long, required_unless_present = "device")]
        name: Vec<String>,
        /// Device that is to show a certificate instead of a key: letters, digits and
        /// hyphens
        #[arg(long, conflicts_with = "name", value_parser = device_name)]
        device: Option<String>,
    },
    /// Copy a whole book into one new file, with the service running or not
    #[command(after_help = "Example:
  weighhouse backup --book sqlite:weighhouse.db --to monday.db

Exit code: 0 copied and read back, 2 it could not be.")]
    Backup {
        #[command(flatten)]
        book: Book,
        /// File to write; nothing is written over
        #[arg(long, value_name = "FILE")]
        to: PathBuf,
    },
    /// Put a copy made by backup into a fresh book, of either engine
    #[command(after_help = "Example:
  weighhouse restore --from monday.db --book sqlite:restored.db

Exit code: 0 restored and read back, 2 it could not be.")]
    Restore {
        /// File that backup wrote
        #[arg(long, value_name = "FILE")]
        from: PathBuf,
        #[command(flatten)]
        book: Book,
    },
    /// Look a book and its place on this machine over, and say what to do
    #[command(after_help = "Example:
  weighhouse doctor --book sqlite:weighhouse.db

Exit code: 0 all is well, 1 something to look at or broken, 2 it could not look.")]
    Doctor {
        #[command(flatten)]
        book: Book,
        /// File of the office's key [default: beside a SQLite book, BOOK.office-key]
        #[arg(long, value_name = "FILE")]
        office_key: Option<PathBuf>,
        /// Print the checks for a program
        #[arg(long)]
        json: bool,
    },
    /// Print who may do what
    #[command(after_help = "Example:
  weighhouse access")]
    Access,
    /// Try everything with an invented week in a fresh book of its own
    #[command(after_help = "Example:
  weighhouse demo --folder demo-book")]
    Demo {
        /// Folder for the book; a new one among the temporary files when left out
        #[arg(long)]
        folder: Option<PathBuf>,
    },
    #[command(flatten)]
    Client(client::Command),
}

#[derive(Debug, clap::Args)]
struct Book {
    /// The book: sqlite:FILE, or postgres://USER@HOST/NAME
    #[arg(
        long = "book",
        value_name = "URL",
        env = "WEIGHHOUSE_BOOK",
        default_value = "sqlite:weighhouse.db",
        hide_env_values = true
    )]
    url: String,
}

fn main() -> ExitCode {
    let matches = client::lenient(Program::command()).get_matches();
    let program = Program::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => return failed(&error.into()),
    };
    let inside = runtime.enter();
    #[cfg(feature = "otlp")]
    let traces = program.traces.as_deref();
    #[cfg(not(feature = "otlp"))]
    let traces = None;
    let last_words = match log(&program.log, program.log_format, traces) {
        Ok(last_words) => last_words,
        Err(error) => return failed(&error),
    };
    drop(inside);
    let ended = runtime.block_on(run(program.command));
    last_words();
    match ended {
        Ok(code) => code,
        Err(error) => failed(&error),
    }
}

/// Says why it could not run.
fn failed(error: &anyhow::Error) -> ExitCode {
    eprintln!("weighhouse: {error}");
    ExitCode::from(2)
}

async fn run(command: Command) -> anyhow::Result<ExitCode> {
    match command {
        Command::Serve {
            listen,
            book,
            office_key,
            tls_certificate,
            tls_key,
            device_authority,
            without_tls,
            metrics,
            requests_under_way,
            requests_per_second,
            scales,
            simulated_from,
        } => {
            let tls = match (&tls_certificate, &tls_key) {
                (Some(certificate), Some(key)) => {
                    Some(tls::config(certificate, key, device_authority.as_deref())?)
                }
                _ => None,
            };
            if !listen.ip().is_loopback() && tls.is_none() && !without_tls {
                bail!(
                    "cannot answer on {listen} without TLS: other machines reach it, and keys could be read on the way. Give --tls-certificate and --tls-key (`weighhouse certificate` makes them), or say --without-tls"
                );
            }
            if let Some(address) = metrics {
                watching::export(address)?;
            }
            let db = serve::open(&book.url, simulated_from.as_ref()).await?;
            let listener = TcpListener::bind(listen)
                .await
                .map_err(|error| anyhow!("cannot answer on {listen}: {error}"))?;
            let address = listener.local_addr()?;
            let stop = stop_asked_for()?;
            let desk = serve::desk(db.clone(), now_us).await?;
            let file = office_key.unwrap_or_else(|| office_key::usual_file(&book.url));
            if let Some(file) = office_key::ensure(desk.desk(), &file).await? {
                print(&format!("the office's key is in {}\n", file.display()))?;
            }
            scales::listen(desk.desk(), scales)?;
            let scheme = if tls.is_some() { "https" } else { "http" };
            print(&format!("listening on {scheme}://{address}\n"))?;
            let service = intake::Service {
                pages: Some(pages::router(desk.desk(), tls.is_some())),
                tls,
                room: Room {
                    under_way: requests_under_way.max(1),
                    a_second: requests_per_second,
                    at_once: requests_per_second.saturating_mul(TWICE),
                },
            };
            desk.answer(listener, service, stop).await?;
            db.close().await;
            Ok(ExitCode::SUCCESS)
        }
        Command::Nightly {
            site,
            day,
            rebuild: _,
            dry_run,
            json,
            book,
        } => {
            let holder = holder::this_process(now_us);
            let Some(day) = day else {
                let watched = std::io::stderr().is_terminal();
                let found = night::rebuild(&book.url, site, dry_run, &holder, watched).await?;
                print(&found.text)?;
                return Ok(ExitCode::from(found.exit_code));
            };
            let found = night::run(&book.url, site, day, dry_run, &holder).await?;
            if json {
                // The document is printed as it is stored, byte for byte.
                eprint!("{}", found.note);
                print(&found.document)?;
            } else {
                print(&(found.note + &found.text))?;
            }
            Ok(ExitCode::from(found.exit_code))
        }
        Command::Certificate {
            folder,
            name,
            device,
        } => {
            let told = match device {
                Some(device) => {
                    let made = certificate::for_device(&folder, &device, now_us())?;
                    certificate::told_of_device(&made, &device)
                }
                None => {
                    let made = certificate::for_service(&folder, &name, now_us())?;
                    certificate::told_of_service(&made)
                }
            };
            print(&told)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Backup { book, to } => {
            print(&backup::backup(&book.url, &to).await?)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Restore { from, book } => {
            print(&backup::restore(&from, &book.url).await?)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Doctor {
            book,
            office_key,
            json,
        } => {
            let file = office_key.unwrap_or_else(|| office_key::usual_file(&book.url));
            let found = doctor::run(&book.url, &file, now_us(), json).await?;
            print(&found.text)?;
            Ok(ExitCode::from(found.exit_code))
        }
        Command::Access => {
            print(&access())?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Demo { folder } => {
            let folder = match folder {
                Some(folder) => folder,
                None => demo::new_folder_in(&std::env::temp_dir())?,
            };
            let program = std::env::args()
                .next()
                .unwrap_or_else(|| "weighhouse".to_owned());
            let holder = holder::this_process(now_us);
            print(&demo::run(&folder, &program, &holder).await?)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Client(command) => {
            let (mut out, mut err) = (std::io::stdout(), std::io::stderr());
            let watched = err.is_terminal();
            let terminal = client::Terminal {
                program: client::lenient(Program::command()),
                now: machines_clock,
                out: &mut out,
                progress: watched.then_some(&mut err),
            };
            match command.run(terminal).await {
                Ok(text) => {
                    print(&text)?;
                    Ok(ExitCode::SUCCESS)
                }
                Err(trouble) => {
                    eprintln!("weighhouse: {trouble}");
                    Ok(ExitCode::from(trouble.exit_code()))
                }
            }
        }
    }
}

fn device_name(text: &str) -> Result<String, String> {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if (1..=40).contains(&text.len()) && text.chars().all(plain) {
        Ok(text.to_owned())
    } else {
        Err("is 1 to 40 lower-case letters, digits and hyphens".to_owned())
    }
}

/// Who may do what: the table the desk goes by.
fn access() -> String {
    use client::show::{Column, Page};
    use desk::access::{ROLES, TABLE};
    let mut page = Page::title("Who may do what");
    let columns: Vec<Column> = std::iter::once(Column::Left("to"))
        .chain(ROLES.iter().map(|role| Column::Left(role.word())))
        .collect();
    let row = |(_, what, reaches): &desk::access::Act| {
        let reaches = reaches.iter().map(|reach| reach.word().to_owned());
        std::iter::once((*what).to_owned()).chain(reaches).collect()
    };
    page.table(&columns, &TABLE.iter().map(row).collect::<Vec<_>>());
    page.paragraph(
        "own: what belongs to the party the key is for. A key that names a buyer reaches that \
         buyer's sites and no other.",
    );
    page.done()
}

fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        // Whoever read along has seen enough.
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        written => Ok(written?),
    }
}

/// The machine's clock, microseconds since 1970 UTC.
#[expect(
    clippy::disallowed_methods,
    reason = "the one place that reads the machine's clock"
)]
fn now_us() -> i64 {
    // A clock before 1970 or after the year 294,000 is set wrong either way.
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .ok()
        .and_then(|since| i64::try_from(since.as_micros()).ok())
        .unwrap_or(0)
}

/// The same for a command that sends it.
fn machines_clock() -> prost_types::Timestamp {
    let now_us = now_us();
    prost_types::Timestamp {
        seconds: now_us.div_euclid(1_000_000),
        nanos: i32::try_from(now_us.rem_euclid(1_000_000) * 1_000).unwrap_or(0),
    }
}

/// Done when the program is asked to stop, from the keyboard or by SIGTERM.
fn stop_asked_for() -> anyhow::Result<impl Future<Output = ()> + Send + 'static> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}

/// Begins to log, and to send spans to a collector where one is named; gives what is to
/// be done when the program ends.
fn log(filter: &str, format: LogFormat, traces: Option<&str>) -> anyhow::Result<Box<dyn FnOnce()>> {
    use tracing_subscriber::layer::{Layer as _, SubscriberExt as _};
    use tracing_subscriber::util::SubscriberInitExt as _;
    let filter = EnvFilter::try_new(filter).map_err(|error| anyhow!("--log {filter}: {error}"))?;
    let lines = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(false);
    let lines = match format {
        LogFormat::Text => lines.boxed(),
        LogFormat::Json => lines.json().boxed(),
    };
    let log = tracing_subscriber::registry().with(lines.with_filter(filter));
    let Some(collector) = traces else {
        log.init();
        return Ok(Box::new(|| {}));
    };
    #[cfg(feature = "otlp")]
    {
        let (layer, provider) =
            traces::layer(collector).map_err(|error| anyhow!("--traces {collector}: {error}"))?;
        let ours = EnvFilter::new("off,intake=info,weighhouse=info");
        log.with(layer.with_filter(ours)).init();
        Ok(Box::new(move || {
            if let Err(error) = provider.shutdown() {
                eprintln!("weighhouse: the last spans were not sent: {error}");
            }
        }))
    }
    #[cfg(not(feature = "otlp"))]
    bail!("--traces {collector}: this program was built without the feature otlp")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_commands_are_well_formed() {
        Program::command().debug_assert();
    }

    #[test]
    fn every_command_says_what_it_does_in_words_of_its_own() {
        let mut said = std::collections::BTreeSet::new();
        for command in Program::command().get_subcommands() {
            let about = command.get_about().map(ToString::to_string);
            let about = about.unwrap_or_default();
            assert!(!about.is_empty(), "{}", command.get_name());
            assert!(said.insert(about), "{}", command.get_name());
        }
    }

    #[test]
    fn every_command_shows_an_example() {
        for command in Program::command().get_subcommands() {
            let help = command
                .get_after_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            assert!(
                help.starts_with("Example"),
                "{} has no example",
                command.get_name()
            );
        }
    }

    #[test]
    fn the_machines_clock_is_in_microseconds() {
        // 2026-01-01 and 2100-01-01, UTC.
        assert!((1_767_225_600_000_000..4_102_444_800_000_000).contains(&now_us()));
    }
}
