//! The trade's rules, pure.
//!
//! Nothing here reads a clock, a disk, a network, the environment or chance:
//! time, ids and readings are arguments, and every answer is a value. One file
//! for each rule a buyer would name. Weights are whole numbers of 10 ng and
//! money is whole cents, so sums are exact; each rounding lives in one named
//! function whose doc says which rule it follows.

// A book's arithmetic says what happens at its ends, and is never a float's;
// tests may work their expectations out as they like.
#![cfg_attr(
    not(test),
    deny(
        clippy::float_arithmetic,
        clippy::arithmetic_side_effects,
        clippy::as_conversions
    )
)]

pub mod agreed_price;
pub mod allot;
pub mod balance;
pub mod baseline;
pub mod business_day;
pub mod close;
pub mod codes;
pub mod costing;
pub mod decimal;
pub mod dispute;
pub mod drift;
pub mod fillet_yield;
pub mod fish;
pub mod ids;
pub mod judging;
pub mod key;
pub mod landing;
pub mod length_weight;
pub mod making;
pub mod money;
pub mod office;
pub mod outlet;
pub mod price_list;
pub mod receiving;
pub mod reweigh;
pub mod settlement;
pub mod small_fish;
pub mod statistics;
pub mod stock;
pub mod supplier_yield;
pub mod tally;
pub mod ticket;
pub mod tolerance;
pub mod uncertainty;
pub mod undersize;
pub mod weight;
pub mod yield_answer;
