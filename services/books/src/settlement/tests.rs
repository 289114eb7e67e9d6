//! Settling, on both engines.
