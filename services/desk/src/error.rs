//! Why a deed was not done, in the words its caller sees.

use books::{BooksError, Condition, EngineError};

/// Why a deed was not done. Nothing was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeskError {
    /// The request cannot be right: the field, by its path in the request, and
    /// the rule it breaks.
    #[error("{field}: {rule}")]
    Malformed {
        /// Such as `lots[0].weighings[1].tote.gross`.
        field: String,
        /// Stable word for programs, such as `TARE_NOT_BELOW_GROSS`.
        reason: &'static str,
        /// One sentence.
        rule: String,
    },
    /// The request is well formed, and the book is not in a state for it.
    #[error("{rule}")]
    Precondition {
        /// Stable word for programs.
        reason: &'static str,
        /// One sentence.
        rule: String,
        /// Field it is about, or empty.
        field: String,
    },
    /// There is no such thing; only for something looked up.
    #[error("there is no {what} {id}")]
    NotFound {
        /// Such as "ticket".
        what: &'static str,
        /// As asked.
        id: String,
    },
    /// Not the caller's to do or to see, whether or not it exists.
    #[error("not yours to do or to see")]
    Denied,
    /// More waits to be written than should; nothing was taken.
    #[error("more is waiting to be written than should; try again with the same request_id")]
    Busy,
    /// The request id was used for something else.
    #[error("this request_id was already used for another request")]
    OtherBody,
    /// The book cannot be reached, or is too busy; try again with the same id.
    #[error("the book cannot be reached just now; try again with the same request_id")]
    Unavailable,
    /// Our fault; it is in the log.
    #[error("something went wrong on our side; it was logged")]
    Internal,
}

impl DeskError {
    /// A field that cannot be right.
    #[must_use]
    pub fn malformed(field: impl Into<String>, rule: impl Into<String>) -> DeskError {
        DeskError::Malformed {
            field: field.into(),
            reason: "INVALID_FIELD",
            rule: rule.into(),
        }
    }

    /// A field that names something the book does not have.
    pub(crate) fn unknown(field: impl Into<String>, what: &str, id: &str) -> DeskError {
        DeskError::Malformed {
            field: field.into(),
            reason: "UNKNOWN_ID",
            rule: format!("there is no {what} \"{id}\""),
        }
    }

    /// A state that does not allow it.
    #[must_use]
    pub fn precondition(reason: &'static str, rule: impl Into<String>) -> DeskError {
        DeskError::Precondition {
            reason,
            rule: rule.into(),
            field: String::new(),
        }
    }

    /// A business day whose numbers do not suffice for the deed.
    pub(crate) fn full(left: i64) -> DeskError {
        let rule = if left == 0 {
            "the business day has no entry numbers left".to_owned()
        } else {
            format!(
                "the business day has {left} entry numbers left, and this needs one and all it \
                 asks ahead"
            )
        };
        DeskError::precondition("DAY_FULL", rule)
    }

    /// What an unmet condition means to the caller.
    pub(crate) fn unmet(condition: &Condition) -> DeskError {
        match condition {
            Condition::Spend { how, item, .. } => match *how {
                "release" => DeskError::precondition(
                    "ALREADY_RELEASED",
                    "this hold was already released or used up",
                ),
                "revoke" => {
                    DeskError::precondition("ALREADY_REVOKED", "this key was already revoked")
                }
                "carry_out" => DeskError::Precondition {
                    reason: "ALREADY_CARRIED_OUT",
                    rule: "this line of the plan was already carried out".to_owned(),
                    field: "plan_line".to_owned(),
                },
                "answer" => {
                    DeskError::precondition("ALREADY_ANSWERED", "this dispute was already answered")
                }
                "void" if *item == books::settlement::PAID => paid_for(),
                "lot_number" => DeskError::Precondition {
                    reason: "LOT_NUMBER_USED",
                    rule: "another ticket bears this number: take the device's next one".to_owned(),
                    field: "lot_number".to_owned(),
                },
                _ => DeskError::precondition(
                    "ALREADY_ENDED",
                    "this ticket was already voided, rewritten or settled",
                ),
            },
            Condition::Unmoved { .. } => DeskError::precondition(
                "WEIGHT_HAS_MOVED",
                "weight of this ticket has moved, so it cannot be voided; rewrite it instead",
            ),
            Condition::Epoch { .. }
            | Condition::LotSeen { .. }
            | Condition::Stands { .. }
            | Condition::Fence { .. }
            | Condition::SpendOwn { .. } => DeskError::Unavailable,
        }
    }
}

/// Refuses to void what was paid for (5.6).
pub(crate) fn paid_for() -> DeskError {
    DeskError::precondition(
        "ALREADY_PAID",
        "pay of this landing was settled, so its ticket cannot be voided; rewrite it instead, \
         and the next settlement takes the difference",
    )
}

pub(crate) fn from_books(error: &BooksError) -> DeskError {
    match error {
        // Trying again mends no damage.
        BooksError::Engine(EngineError::Damaged(_) | EngineError::Corrupt { .. })
        | BooksError::Corrupt { .. } => DeskError::Internal,
        BooksError::Engine(_) => DeskError::Unavailable,
    }
}
