//! Sentences that were written otherwise once, and still stand in documents.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[];
