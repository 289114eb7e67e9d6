//! The gRPC face of the desk.
//!
//! A request is parsed into the rules' types and refused here where it cannot be
//! right; then one deed of the desk is called, and its outcome written for the
//! wire. Wire types stay in this crate: nothing behind it knows them. Who may do
//! what, and what is owed, is decided at the desk and in the rules.

mod answer;
mod codes;
mod errors;
mod face;
mod gate;
mod page;
mod parse;
mod serve;
mod transport;

pub use desk::secret::{fresh_secret, sha256, sha256_of_secret};
pub use gate::Room;
pub use serve::{ServeError, Service, serve};
