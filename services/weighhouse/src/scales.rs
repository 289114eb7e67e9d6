//! Scales that send lines of text, over the network or a serial line.
//!
//! Which they are and where they are read from is said where the program is started, so
//! that nothing in the book can make it open a file or an address. A thread for each
//! reads, and begins again when it ends, waiting longer each time it fails. What a line
//! means is the desk's to say.

use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::path::PathBuf;
use std::str::FromStr;
use std::thread;
use std::time::{Duration, Instant};

use backon::{BackoffBuilder as _, ExponentialBuilder};
use desk::Desk;
use rustix::fs::{Mode, OFlags};
use rustix::net::sockopt;

/// Longest line that is looked at, bytes; of a longer one nothing is.
const LONGEST: usize = 256;
/// Longest that a connection may take to come about.
const CONNECT: Duration = Duration::from_secs(5);
/// A scale that was switched off says no goodbye: after so long a silence its connection
/// is asked whether it is there, so often and so many times.
const ASKED_AFTER: Duration = Duration::from_secs(30);
const ASKED_EVERY: Duration = Duration::from_secs(10);
const ASKED_TIMES: u32 = 3;
/// Waits between attempts.
const SHORTEST_WAIT: Duration = Duration::from_millis(100);
const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// A scale of a site, and where its lines come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Scale {
    site: i64,
    code: String,
    from: From,
}

/// Where lines come from.
#[derive(Debug, Clone, PartialEq, Eq)]
enum From {
    /// `HOST:PORT`.
    Tcp(String),
    /// A serial line as the system has set it, or a pipe.
    Serial(PathBuf),
}

impl fmt::Display for From {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            From::Tcp(address) => write!(f, "tcp:{address}"),
            From::Serial(path) => write!(f, "serial:{}", path.display()),
        }
    }
}

impl FromStr for Scale {
    type Err = String;

    fn from_str(text: &str) -> Result<Scale, String> {
        let form = "is not SITE/CODE=tcp:HOST:PORT or SITE/CODE=serial:PATH";
        let (scale, from) = text.split_once('=').ok_or(form)?;
        let (site, code) = scale.split_once('/').ok_or(form)?;
        let site = site.parse().ok().filter(|site| (1..=9999).contains(site));
        if !rules::ids::is_code(code) {
            return Err(format!("\"{code}\" is no code of a scale"));
        }
        let from = match from.split_once(':') {
            Some(("tcp", address)) => {
                let port = address
                    .rsplit_once(':')
                    .filter(|(host, _)| !host.is_empty());
                let port = port.and_then(|(_, port)| port.parse::<u16>().ok());
                if port.is_none_or(|port| port == 0) {
                    return Err(format!("\"{address}\" is not HOST:PORT"));
                }
                From::Tcp(address.to_owned())
            }
            Some(("serial", path)) if !path.is_empty() => From::Serial(path.into()),
            _ => return Err(form.to_owned()),
        };
        Ok(Scale {
            site: site.ok_or_else(|| format!("{form}: the site is 1 to 9999"))?,
            code: code.to_owned(),
            from,
        })
    }
}

/// Hears scales from now on, until the program ends.
///
/// # Errors
/// No thread can be started.
pub(crate) fn listen(desk: &Desk, scales: Vec<Scale>) -> io::Result<()> {
    for scale in scales {
        desk.listens_to(scale.site, &scale.code);
        let desk = desk.clone();
        // No task of the runtime: a read that waits for a pipe or a line cannot be given
        // up, and would keep the program from ending.
        thread::Builder::new()
            .name(format!("scale {}", scale.code))
            .spawn(move || forever(&desk, &scale))?;
    }
    Ok(())
}

fn forever(desk: &Desk, scale: &Scale) {
    let waits = || {
        ExponentialBuilder::default()
            .with_min_delay(SHORTEST_WAIT)
            .with_max_delay(LONGEST_WAIT)
            .without_max_times()
            .build()
    };
    let (mut wait, mut failed) = (waits(), 0_usize);
    loop {
        let heard = once(desk, scale);
        let (lines, ended) = match &heard {
            Ok(lines) => (*lines, "it ended".to_owned()),
            Err((lines, error)) => (*lines, error.to_string()),
        };
        if lines > 0 {
            (wait, failed) = (waits(), 0);
        }
        failed += 1;
        // Now and then: a scale may be off all night.
        if failed.is_power_of_two() {
            let (site, code, from) = (scale.site, &scale.code, &scale.from);
            tracing::warn!(site, code, %from, failed, ended, "a scale is not heard");
        }
        thread::sleep(wait.next().unwrap_or(LONGEST_WAIT));
    }
}

/// Hears a scale until its lines end; how many there were.
fn once(desk: &Desk, scale: &Scale) -> Result<usize, (usize, io::Error)> {
    let mut source = open(&scale.from).map_err(|error| (0, error))?;
    let (site, code) = (scale.site, scale.code.as_str());
    tracing::info!(site, code, from = %scale.from, "a scale is heard");
    let (mut lines, mut odd) = (0, 0_usize);
    let read = each_line(&mut source, |line| {
        lines += 1;
        if !desk.hear(site, code, line, Instant::now()) {
            odd += 1;
            // Now and then: a scale may say ten lines a second.
            if odd.is_power_of_two() {
                tracing::warn!(site, code, odd, line, "a line of a scale says no weight");
            }
        }
    });
    match read {
        Ok(()) => Ok(lines),
        Err(error) => Err((lines, error)),
    }
}

fn open(from: &From) -> io::Result<Box<dyn Read>> {
    Ok(match from {
        From::Tcp(address) => {
            let mut last = io::ErrorKind::AddrNotAvailable.into();
            for address in address.to_socket_addrs()? {
                match TcpStream::connect_timeout(&address, CONNECT) {
                    Ok(stream) => {
                        sockopt::set_socket_keepalive(&stream, true)?;
                        sockopt::set_tcp_keepidle(&stream, ASKED_AFTER)?;
                        sockopt::set_tcp_keepintvl(&stream, ASKED_EVERY)?;
                        sockopt::set_tcp_keepcnt(&stream, ASKED_TIMES)?;
                        return Ok(Box::new(stream));
                    }
                    Err(error) => last = error,
                }
            }
            return Err(last);
        }
        // Nothing is ever sent to a scale; nor may its line become this program's
        // terminal, from which a stray byte could end it.
        From::Serial(path) => {
            let flags = OFlags::RDONLY | OFlags::NOCTTY | OFlags::CLOEXEC;
            Box::new(File::from(rustix::fs::open(path, flags, Mode::empty())?))
        }
    })
}

/// Hands over each line that has something in it, until there are no more. A line ends
/// with a carriage return, a line feed or both; bytes that are no UTF-8 are replaced. What
/// comes before the first end of a line is passed over: nobody knows where it began, and
/// the tail of a line can be a smaller weight.
fn each_line(source: &mut impl Read, mut with: impl FnMut(&str)) -> io::Result<()> {
    let mut line = Vec::with_capacity(LONGEST);
    let mut is_passed_over = true;
    let mut bytes = [0; 1024];
    loop {
        let read = match source.read(&mut bytes) {
            Ok(0) => return Ok(()),
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        for byte in bytes.iter().take(read) {
            match byte {
                b'\r' | b'\n' => {
                    let text = String::from_utf8_lossy(&line);
                    if !is_passed_over && !text.trim().is_empty() {
                        with(text.trim());
                    }
                    line.clear();
                    is_passed_over = false;
                }
                _ if line.len() == LONGEST => is_passed_over = true,
                byte => line.push(*byte),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_scale_is_named_with_its_site_and_where_it_is_read_from() {
        for (text, expected) in [
            (
                "1/dock=tcp:192.168.1.40:4001",
                "1 dock tcp:192.168.1.40:4001",
            ),
            ("1/dock=tcp:[fe80::1]:4001", "1 dock tcp:[fe80::1]:4001"),
            ("2/table=serial:/dev/ttyUSB0", "2 table serial:/dev/ttyUSB0"),
        ] {
            let scale: Scale = text.parse().unwrap();
            assert_eq!(
                format!("{} {} {}", scale.site, scale.code, scale.from),
                expected
            );
        }
        for (text, why) in [
            ("dock=tcp:host:1", "is not SITE/CODE="),
            ("1/dock", "is not SITE/CODE="),
            ("0/dock=tcp:host:1", "the site is 1 to 9999"),
            ("1/Dock=tcp:host:1", "\"Dock\" is no code"),
            ("1/dock=tcp:host", "is not HOST:PORT"),
            ("1/dock=tcp:host:0", "is not HOST:PORT"),
            ("1/dock=tcp::1", "is not HOST:PORT"),
            ("1/dock=serial:", "is not SITE/CODE="),
            ("1/dock=file:/etc/passwd", "is not SITE/CODE="),
        ] {
            let error = text.parse::<Scale>().unwrap_err();
            assert!(error.contains(why), "{text}: {error}");
        }
    }

    #[test]
    fn lines_end_as_they_may_and_those_that_are_not_whole_are_passed_over() {
        let long = "x".repeat(LONGEST + 1);
        let just = "y".repeat(LONGEST);
        let text =
            format!("2.35 lb steady\r\n one \r\ntwo\rthree\n\n{long}\nfour\n{just}\nunfinished");
        let source = [text.as_bytes(), b"\xff five\nand no end"].concat();
        let mut lines = Vec::new();
        each_line(&mut source.as_slice(), |line| lines.push(line.to_owned())).unwrap();
        assert_eq!(
            lines,
            [
                "one",
                "two",
                "three",
                "four",
                &just,
                "unfinished\u{fffd} five"
            ]
        );
    }
}
