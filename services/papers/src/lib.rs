//! What leaves the house as paper or file: a close as tables for a spreadsheet, and as
//! one page with charts.
//!
//! Plain data comes in and text goes out: nothing here asks a service, opens a file or
//! reads a clock. Nothing is worked out either that the close does not say: charts
//! place its figures, tables list them. What a screen shows is in the client.

pub mod chart;
pub mod close;
pub mod csv;
mod figure;
pub mod page;
#[cfg(test)]
mod sample;
pub mod table;
mod tables;

pub use figure::{Money, Percent, Sigma, Weight};
