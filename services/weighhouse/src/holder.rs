//! Who runs a night: this process, in words that tell it from every other, and what
//! this machine knows of a process that ran one before.
//!
//! A night that was killed leaves its lease behind. On the same machine the next run
//! sees that the process is gone and takes over; of another machine's it knows nothing,
//! and waits until the lease ends. Where what is seen here deceives, as in two
//! containers that call themselves alike, the book still takes the writes of one night
//! only.

use std::fs;

use nightly::Holder;

/// This process, with the machine's clock.
pub(crate) fn this_process(clock_us: fn() -> i64) -> Holder {
    Holder {
        name: name(std::process::id(), &host()),
        clock_us,
        is_gone: |holder| is_gone(holder, &host()),
    }
}

fn name(process: u32, host: &str) -> String {
    format!("process {process} on {host}")
}

/// The machine's name, as Linux tells it; empty elsewhere, and then nobody is known to
/// be gone.
fn host() -> String {
    let host = fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    host.trim().to_owned()
}

/// Whether a holder ran on this machine and is not there any more.
fn is_gone(holder: &str, host: &str) -> bool {
    let process = holder.strip_prefix("process ");
    let Some((process, on)) = process.and_then(|rest| rest.split_once(" on ")) else {
        return false;
    };
    let Ok(process) = process.parse::<u32>() else {
        return false;
    };
    if host.is_empty() || on != host {
        return false;
    }
    // A number that another program got in the meantime is no night.
    match fs::read_to_string(format!("/proc/{process}/comm")) {
        Ok(program) => Some(program) != fs::read_to_string("/proc/self/comm").ok(),
        Err(error) => error.kind() == std::io::ErrorKind::NotFound,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_process_of_this_machine_that_has_ended_is_gone() {
        let own = std::process::id();
        // A number that no process has: the last that Linux gives out is 4194304.
        let none = 4_194_305;
        for (holder, gone) in [
            (name(own, "dock"), false),
            (name(none, "dock"), true),
            (name(none, "pier"), false),
            // The first process is another program.
            (name(1, "dock"), true),
            (String::new(), false),
            ("process x on dock".to_owned(), false),
            (format!("process {none}"), false),
            (format!("night {none} on dock"), false),
        ] {
            assert_eq!(is_gone(&holder, "dock"), gone, "{holder}");
        }
        assert!(!is_gone(&name(none, ""), ""), "a machine without a name");
    }

    #[test]
    fn a_holder_knows_itself_alive() {
        let holder = this_process(|| 0);
        assert!(holder.name.contains(&std::process::id().to_string()));
        assert!(!(holder.is_gone)(&holder.name));
    }
}
