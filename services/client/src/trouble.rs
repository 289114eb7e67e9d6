//! What can go wrong between a person and the service, in one line each.
//!
//! A refusal names the field and the rule, as the service's error details do.
//! No answer is something else than a refusal: nobody knows whether the deed
//! was booked, and sending it again with the same request id books it once.

use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// Why a command came to nothing.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// Nobody answers at the address.
    #[error(
        "no service answers at {server} ({why}). Start one with `weighhouse serve`, or name another with --server"
    )]
    Unreachable {
        /// Address tried.
        server: String,
        /// As the network says.
        why: String,
    },
    /// The service was asked and gave no answer.
    #[error(
        "the service at {server} gave no answer ({why}). Try again{}",
        again(request_id)
    )]
    NoAnswer {
        /// Address asked.
        server: String,
        /// As the service or the network says.
        why: String,
        /// Request id of a deed that may or may not be booked; empty for a
        /// question.
        request_id: String,
    },
    /// The service said no.
    #[error("{}", .0)]
    Refused(Refused),
    /// A file of deeds did not read, or a deed of it was not booked.
    #[error("{0}")]
    File(String),
    /// Some of a file's deeds were not booked; the outcomes are told already.
    #[error("{0}")]
    Partly(String),
    /// What was typed does not name anything.
    #[error("{0}")]
    Typed(String),
    /// The service answered something that this program cannot read.
    #[error("the answer of the service cannot be read: {0}")]
    Unreadable(&'static str),
}

fn again(request_id: &str) -> String {
    if request_id.is_empty() {
        String::new()
    } else {
        format!(" with --request-id {request_id}: it is booked once, however often it is sent")
    }
}

impl Trouble {
    /// Exit code of the program: 1 where the service said no, 2 where it could
    /// not be asked.
    #[must_use]
    pub const fn exit_code(&self) -> u8 {
        match self {
            Trouble::Refused(_) | Trouble::File(_) | Trouble::Typed(_) | Trouble::Partly(_) => 1,
            Trouble::Unreachable { .. } | Trouble::NoAnswer { .. } | Trouble::Unreadable(_) => 2,
        }
    }

    /// What a status of the service at `server` means.
    #[must_use]
    pub fn from_status(server: &str, status: &Status) -> Trouble {
        match status.code() {
            Code::Unavailable | Code::DeadlineExceeded | Code::Cancelled => Trouble::NoAnswer {
                server: server.to_owned(),
                why: status.message().to_owned(),
                request_id: String::new(),
            },
            Code::Unauthenticated => {
                let mut refused = Refused::from(status);
                refused
                    .message
                    .push_str("; name the file of a key with --key-file or WEIGHHOUSE_KEY_FILE");
                Trouble::Refused(refused)
            }
            _ => Trouble::Refused(Refused::from(status)),
        }
    }

    /// The same in the words of a command: `flags` are fields of the contract, as
    /// paths without places in lists, and what a person types for them.
    #[must_use]
    pub fn in_flags(self, flags: &[(&str, &str)]) -> Trouble {
        match self {
            Trouble::Refused(refused) => Trouble::Refused(refused.in_flags(flags)),
            other => other,
        }
    }

    /// The same, said of the deed with this request id.
    #[must_use]
    pub fn of_request(self, id: &str) -> Trouble {
        match self {
            Trouble::NoAnswer { server, why, .. } => Trouble::NoAnswer {
                server,
                why,
                request_id: id.to_owned(),
            },
            other => other,
        }
    }
}

/// A no of the service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// gRPC code.
    pub code: Code,
    /// One sentence.
    pub message: String,
    /// Stable word of the rule; empty when none was given.
    pub reason: String,
    /// Fields at fault.
    pub fields: Vec<String>,
}

impl From<&Status> for Refused {
    fn from(status: &Status) -> Self {
        let details = status.get_error_details();
        Refused {
            code: status.code(),
            message: status.message().to_owned(),
            reason: details
                .error_info()
                .map(|info| info.reason.clone())
                .unwrap_or_default(),
            fields: match details.bad_request() {
                Some(bad) => {
                    let violations = bad.field_violations.iter();
                    violations.map(|v| v.field.clone()).collect()
                }
                // What the book does not allow has its field beside the rule.
                None => details
                    .error_info()
                    .and_then(|info| info.metadata.get("field").cloned())
                    .into_iter()
                    .collect(),
            },
        }
    }
}

impl Refused {
    /// Fields that were typed as flags, named by the flag.
    fn in_flags(mut self, flags: &[(&str, &str)]) -> Refused {
        for field in &mut self.fields {
            let path = without_places(field);
            let typed = flags
                .iter()
                .filter(|(of, _)| path == *of || path.starts_with(&format!("{of}.")))
                .max_by_key(|(of, _)| of.len());
            let Some((_, flag)) = typed else { continue };
            let message = self.message.strip_prefix(&format!("{field}: "));
            self.message = format!("{flag}: {}", message.unwrap_or(&self.message));
            (*flag).clone_into(field);
        }
        self
    }
}

/// `lots[0].species` is `lots.species`.
fn without_places(field: &str) -> String {
    let mut path = String::new();
    let mut inside = false;
    for letter in field.chars() {
        match letter {
            '[' => inside = true,
            ']' => inside = false,
            other if !inside => path.push(other),
            _ => {}
        }
    }
    path
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let kind = match self.code {
            Code::InvalidArgument | Code::OutOfRange => "cannot be read as written",
            Code::FailedPrecondition | Code::Aborted => "cannot be done",
            Code::NotFound => "not in the book",
            Code::AlreadyExists => "taken already",
            Code::PermissionDenied | Code::Unauthenticated => "not allowed",
            Code::ResourceExhausted => "too much at once",
            Code::Unimplemented => "this service does not know that",
            Code::Ok
            | Code::Cancelled
            | Code::Unknown
            | Code::DeadlineExceeded
            | Code::Internal
            | Code::Unavailable
            | Code::DataLoss => "the service failed",
        };
        write!(f, "{kind}: {}", self.message)?;
        let mut notes = Vec::new();
        let named = |field: &String| self.message.starts_with(&format!("{field}: "));
        if !self.fields.is_empty() && !self.fields.iter().all(named) {
            notes.push(format!("field {}", self.fields.join(", ")));
        }
        if !self.reason.is_empty() {
            notes.push(format!("rule {}", self.reason));
        }
        if notes.is_empty() {
            Ok(())
        } else {
            write!(f, " [{}]", notes.join("; "))
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use tonic_types::ErrorDetails;

    use super::*;

    fn status(code: Code, message: &str, reason: &str, field: &str) -> Status {
        let mut details = ErrorDetails::with_error_info(reason, "weighhouse", HashMap::new());
        if !field.is_empty() {
            details.add_bad_request_violation(field, message);
        }
        Status::with_error_details(code, message, details)
    }

    #[test]
    fn a_refusal_is_one_line_with_the_field_and_the_rule() {
        let tare = Trouble::from_status(
            "http://127.0.0.1:1",
            &status(
                Code::InvalidArgument,
                "tare 50.00 lb is not below gross 42.00 lb",
                "TARE_NOT_BELOW_GROSS",
                "lots[0].weighings[0].tote.tare_reading",
            ),
        );
        assert_eq!(
            tare.to_string(),
            "cannot be read as written: tare 50.00 lb is not below gross 42.00 lb \
             [field lots[0].weighings[0].tote.tare_reading; rule TARE_NOT_BELOW_GROSS]"
        );
        assert_eq!(tare.exit_code(), 1);

        let named_already = Trouble::from_status(
            "http://127.0.0.1:1",
            &status(
                Code::InvalidArgument,
                "site: there is no site 7",
                "UNKNOWN_ID",
                "site",
            ),
        );
        assert_eq!(
            named_already.to_string(),
            "cannot be read as written: site: there is no site 7 [rule UNKNOWN_ID]"
        );

        let bare = Trouble::from_status("http://127.0.0.1:1", &Status::not_found("no such ticket"));
        assert_eq!(bare.to_string(), "not in the book: no such ticket");
        assert_eq!(bare.exit_code(), 1);
    }

    #[test]
    fn a_field_that_was_typed_as_a_flag_is_named_by_the_flag() {
        let flags = [
            ("lots.weighings", "a tote"),
            ("lots.weighings.tote.gross", "--gross"),
        ];
        let said = |message: &str, field: &str| {
            let status = status(Code::InvalidArgument, message, "INVALID_FIELD", field);
            let trouble = Trouble::from_status("http://127.0.0.1:1", &status);
            trouble.in_flags(&flags).to_string()
        };
        let gross = "lots[0].weighings[0].tote.gross.decimal";
        assert_eq!(
            said(&format!("{gross}: is not a decimal number"), gross),
            "cannot be read as written: --gross: is not a decimal number [rule INVALID_FIELD]"
        );
        assert_eq!(
            said("site: there is no site 7", "site"),
            "cannot be read as written: site: there is no site 7 [rule INVALID_FIELD]"
        );
    }

    #[test]
    fn what_the_book_does_not_allow_names_its_field_too() {
        let metadata = HashMap::from([("field".to_owned(), "lots[0].species".to_owned())]);
        let details = ErrorDetails::with_error_info("NO_PRICE_LIST", "weighhouse", metadata);
        let status = Status::with_error_details(
            Code::FailedPrecondition,
            "no price list is in force",
            details,
        );
        let trouble = Trouble::from_status("http://127.0.0.1:1", &status);
        assert_eq!(
            trouble
                .in_flags(&[("lots.species", "--species")])
                .to_string(),
            "cannot be done: --species: no price list is in force [rule NO_PRICE_LIST]"
        );
    }

    #[test]
    fn no_answer_says_how_to_send_the_deed_again() {
        let lost = Trouble::from_status("http://127.0.0.1:1", &Status::unavailable("gone away"));
        assert_eq!(lost.exit_code(), 2);
        assert_eq!(
            lost.of_request("a-1").to_string(),
            "the service at http://127.0.0.1:1 gave no answer (gone away). Try again \
             with --request-id a-1: it is booked once, however often it is sent"
        );
    }
}
