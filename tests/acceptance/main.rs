//! Acceptance tests: the program as its users meet it, through the front door
//! only. They start the real program, speak gRPC to it over a real socket, run
//! the night as a process of its own, and pass unchanged if the inside is
//! rewritten.
//!
//! Names of tests that need more than SQLite, or minutes, contain `postgres`, `outside`
//! or `endurance`; they are ignored here and run, and counted, by `tests/all`.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

mod access;
mod away;
mod bad_input;
mod catch_up;
mod chance;
mod close_on_paper;
mod deeds;
mod disk;
mod dock;
mod documents;
mod double_entry;
mod harness;
mod house;
mod judging;
mod keeping;
mod keys;
mod kills;
mod landing;
mod ledger;
mod night;
mod ordinary;
mod outlets;
mod outside;
mod pages;
mod pay;
mod payees;
mod price_lists;
mod reading;
mod receiving;
mod scales;
mod settle;
mod simulated_day;
mod stopping;
mod transport;
mod two_instances;
mod typed;
mod week;
mod weighing;
