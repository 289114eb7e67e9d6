//! Keys, parsed.

use proto::v1;
use rules::key::{KeyAsked, RevokeAsked};

use super::{Asked, At as _, Bad, code_or_none, entry_id, instant_or_none, name, request_id, said};

/// Most characters of what people call a key.
const LONGEST_NAME: usize = 60;
/// Hexadecimal digits of a SHA-256.
const DIGITS: usize = 64;

/// A key asked for.
pub(crate) fn issue_key(request: v1::IssueKeyRequest) -> Result<Asked<KeyAsked>, Bad> {
    let called = name(request.name).at("name")?;
    if called.chars().count() > LONGEST_NAME {
        return Err(Bad::rule(format!(
            "is longer than {LONGEST_NAME} characters"
        )))
        .at("name");
    }
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: KeyAsked {
            name: called,
            role: said(request.role).at("role")?,
            party: code_or_none(request.party).at("party")?,
            expires_us: instant_or_none(request.expires_at).at("expires_at")?,
            certificate: sha256_or_none(request.certificate_sha256).at("certificate_sha256")?,
        },
    })
}

/// A key to be revoked.
pub(crate) fn revoke_key(request: v1::RevokeKeyRequest) -> Result<Asked<RevokeAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: RevokeAsked {
            key: entry_id(&request.key).at("key")?,
            reason: name(request.reason).at("reason")?,
        },
    })
}

/// A SHA-256 in lower case; it may be empty.
fn sha256_or_none(written: String) -> Result<String, Bad> {
    let is_sha256 = written.len() == DIGITS && written.bytes().all(|b| b.is_ascii_hexdigit());
    if written.is_empty() || is_sha256 {
        Ok(written.to_ascii_lowercase())
    } else {
        Err(Bad::rule("is not a SHA-256: 64 hexadecimal digits"))
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn good() -> v1::IssueKeyRequest {
        v1::IssueKeyRequest {
            request_id: "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90".to_owned(),
            name: "dock tablet".to_owned(),
            role: v1::Role::Buyer.into(),
            party: String::new(),
            expires_at: None,
            certificate_sha256: "AB".repeat(32),
        }
    }

    #[test]
    fn a_key_has_a_name_and_a_role() {
        let what = issue_key(good()).unwrap().what;
        assert_eq!(what.certificate, "ab".repeat(32));
        type Change = fn(&mut v1::IssueKeyRequest);
        let cases: &[(&str, Change)] = &[
            ("request_id", |r| r.request_id.clear()),
            ("name", |r| r.name = " ".into()),
            ("name", |r| r.name = "x".repeat(61)),
            ("role", |r| r.role = 0),
            ("role", |r| r.role = 9),
            ("party", |r| r.party = "Wren".into()),
            ("expires_at.seconds", |r| {
                r.expires_at = Some(prost_types::Timestamp {
                    seconds: -1,
                    nanos: 0,
                });
            }),
            ("certificate_sha256", |r| r.certificate_sha256 = "ab".into()),
            ("certificate_sha256", |r| {
                r.certificate_sha256 = "xy".repeat(32);
            }),
        ];
        for (field, change) in cases {
            let mut request = good();
            change(&mut request);
            assert_eq!(issue_key(request).unwrap_err().field, *field);
        }
    }
}
