//! Why a deed was not done, as gRPC says it.
//!
//! One match gives every error of the desk its code and details. Details stay
//! small: an overlong status arrives as a broken stream.

use std::collections::HashMap;
use std::time::Duration;

use desk::DeskError;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use crate::parse::Bad;

/// Whose words the reasons are.
pub(crate) const DOMAIN: &str = "weighhouse";

/// When to try again what the book could not take.
const RETRY_AFTER: Duration = Duration::from_millis(200);

/// Why a deed was not done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Refusal {
    pub(crate) code: Code,
    /// One sentence.
    pub(crate) message: String,
    /// Stable word for programs.
    pub(crate) reason: &'static str,
    /// Field at fault, or empty.
    pub(crate) field: String,
    detail: Detail,
}

/// What stands beside the reason.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Detail {
    /// The field and the rule it breaks.
    BadRequest {
        rule: String,
    },
    /// The rule that the book's state breaks.
    PreconditionFailure,
    /// What was looked up.
    Resource {
        what: &'static str,
        id: String,
    },
    /// When to try again.
    Retry,
    Nothing,
}

impl Refusal {
    /// Whoever shows no key, or one that opens nothing.
    pub(crate) fn no_key(message: &str) -> Refusal {
        Refusal {
            code: Code::Unauthenticated,
            message: message.to_owned(),
            reason: "NO_KEY",
            field: String::new(),
            detail: Detail::Nothing,
        }
    }
}

impl From<DeskError> for Refusal {
    fn from(error: DeskError) -> Refusal {
        let message = error.to_string();
        let (code, reason, field, detail) = match error {
            DeskError::Malformed {
                field,
                reason,
                rule,
            } => (
                Code::InvalidArgument,
                reason,
                field,
                Detail::BadRequest { rule },
            ),
            DeskError::Precondition { reason, field, .. } => (
                Code::FailedPrecondition,
                reason,
                field,
                Detail::PreconditionFailure,
            ),
            DeskError::NotFound { what, id } => (
                Code::NotFound,
                "NOT_FOUND",
                String::new(),
                Detail::Resource { what, id },
            ),
            DeskError::Denied => (
                Code::PermissionDenied,
                "NOT_YOURS",
                String::new(),
                Detail::Nothing,
            ),
            DeskError::Busy => (
                Code::ResourceExhausted,
                "BUSY",
                String::new(),
                Detail::Retry,
            ),
            DeskError::OtherBody => (
                Code::AlreadyExists,
                "REQUEST_ID_REUSED",
                "request_id".to_owned(),
                Detail::Nothing,
            ),
            DeskError::Unavailable => {
                (Code::Unavailable, "TRY_AGAIN", String::new(), Detail::Retry)
            }
            DeskError::Internal => (Code::Internal, "INTERNAL", String::new(), Detail::Nothing),
        };
        Refusal {
            code,
            message,
            reason,
            field,
            detail,
        }
    }
}

impl From<Bad> for Refusal {
    fn from(bad: Bad) -> Refusal {
        Refusal::from(DeskError::from(bad))
    }
}

impl From<Refusal> for Status {
    fn from(refusal: Refusal) -> Status {
        let Refusal {
            code,
            message,
            reason,
            field,
            detail,
        } = refusal;
        let metadata = if field.is_empty() {
            HashMap::new()
        } else {
            HashMap::from([("field".to_owned(), field.clone())])
        };
        let mut details = ErrorDetails::with_error_info(reason, DOMAIN, metadata);
        match detail {
            Detail::BadRequest { rule } => {
                details.add_bad_request_violation(field, rule);
            }
            Detail::PreconditionFailure => {
                details.add_precondition_failure_violation(reason, field, message.clone());
            }
            Detail::Resource { what, id } => {
                details.set_resource_info(what, id, "", "");
            }
            Detail::Retry => {
                details.set_retry_info(Some(RETRY_AFTER));
            }
            Detail::Nothing => {}
        }
        Status::with_error_details(code, message, details)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(error: DeskError) -> Status {
        Refusal::from(error).into()
    }

    #[test]
    fn every_error_of_the_desk_has_its_code_reason_and_details() {
        let malformed = status(DeskError::Malformed {
            field: "lots[0].weighings[1].tote.gross".to_owned(),
            reason: "TARE_NOT_BELOW_GROSS",
            rule: "tare 50 lb is not below gross 42 lb".to_owned(),
        });
        // The codes are AIP-193's (from memory).
        assert_eq!(malformed.code(), Code::InvalidArgument);
        assert_eq!(
            malformed.message(),
            "lots[0].weighings[1].tote.gross: tare 50 lb is not below gross 42 lb"
        );
        let details = malformed.get_error_details();
        let violations = &details
            .bad_request()
            .expect("it is malformed")
            .field_violations;
        assert_eq!(violations.len(), 1);
        assert_eq!(violations[0].field, "lots[0].weighings[1].tote.gross");
        assert_eq!(
            violations[0].description,
            "tare 50 lb is not below gross 42 lb"
        );

        let held = status(DeskError::precondition(
            "ALREADY_RELEASED",
            "it was released",
        ));
        let details = held.get_error_details();
        let violations = &details
            .precondition_failure()
            .expect("a precondition")
            .violations;
        assert_eq!(violations[0].r#type, "ALREADY_RELEASED");
        assert_eq!(violations[0].description, "it was released");

        let missing = status(DeskError::NotFound {
            what: "ticket",
            id: "1".to_owned(),
        });
        let details = missing.get_error_details();
        assert_eq!(
            details.resource_info().expect("a resource").resource_name,
            "1"
        );

        let busy = status(DeskError::Unavailable);
        let details = busy.get_error_details();
        assert!(
            details
                .retry_info()
                .expect("when to try again")
                .retry_delay
                .is_some()
        );

        for (status, code, reason) in [
            (malformed, Code::InvalidArgument, "TARE_NOT_BELOW_GROSS"),
            (held, Code::FailedPrecondition, "ALREADY_RELEASED"),
            (missing, Code::NotFound, "NOT_FOUND"),
            (
                status(DeskError::OtherBody),
                Code::AlreadyExists,
                "REQUEST_ID_REUSED",
            ),
            (busy, Code::Unavailable, "TRY_AGAIN"),
            (status(DeskError::Internal), Code::Internal, "INTERNAL"),
        ] {
            assert_eq!(status.code(), code);
            let details = status.get_error_details();
            let info = details.error_info().expect("every error says its reason");
            assert_eq!(
                (info.reason.as_str(), info.domain.as_str()),
                (reason, "weighhouse")
            );
        }
    }
}
