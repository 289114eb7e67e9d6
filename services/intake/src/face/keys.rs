//! Keys: given out, revoked, listed.

use desk::{Caller, KeyFound};
use proto::v1;
use rules::key::Key;

use super::Face;
use crate::answer;
use crate::codes::Coded as _;
use crate::errors::Refusal;
use crate::parse::{self, Asked};
use crate::{fresh_secret, sha256_of_secret};

pub(crate) async fn issue_key(
    face: &Face,
    caller: &Caller,
    request: v1::IssueKeyRequest,
) -> Result<v1::IssueKeyResponse, Refusal> {
    let Asked { request_id, what } = parse::keys::issue_key(request)?;
    let (secret, sha256) = if what.certificate.is_empty() {
        let secret = fresh_secret().map_err(|error| {
            tracing::error!(%error, "the machine gives no randomness");
            desk::DeskError::Internal
        })?;
        let sha256 = sha256_of_secret(&secret).ok_or(desk::DeskError::Internal)?;
        (secret, sha256)
    } else {
        (String::new(), what.certificate.clone())
    };
    let booked = face
        .desk
        .issue_key(caller, &request_id, what, sha256.clone())
        .await?;
    // A repeat found the first key, whose secret nobody knows here any more.
    let is_first = booked.outcome.sha256 == sha256;
    Ok(v1::IssueKeyResponse {
        recorded: Some(answer::recorded(&booked)),
        key: Some(wire(booked.entry.number(), &booked.outcome, true)),
        secret: if is_first { secret } else { String::new() },
    })
}

pub(crate) async fn revoke_key(
    face: &Face,
    caller: &Caller,
    request: v1::RevokeKeyRequest,
) -> Result<v1::RevokeKeyResponse, Refusal> {
    let Asked { request_id, what } = parse::keys::revoke_key(request)?;
    let booked = face.desk.revoke_key(caller, &request_id, what).await?;
    Ok(v1::RevokeKeyResponse {
        recorded: Some(answer::recorded(&booked)),
        key: Some(wire(booked.asked.key, &booked.outcome, false)),
    })
}

pub(crate) async fn list_keys(
    face: &Face,
    caller: &Caller,
    _: v1::ListKeysRequest,
) -> Result<v1::ListKeysResponse, Refusal> {
    let keys = face.desk.keys(caller).await?;
    let found = |found: &KeyFound| wire(found.id, &found.key, found.works);
    Ok(v1::ListKeysResponse {
        keys: keys.iter().map(found).collect(),
    })
}

pub(crate) async fn get_caller(
    _: &Face,
    caller: &Caller,
    _: v1::GetCallerRequest,
) -> Result<v1::GetCallerResponse, Refusal> {
    Ok(v1::GetCallerResponse {
        role: caller.role.wire(),
        party: caller.party.clone(),
        key_name: caller.key_name.clone(),
    })
}

fn wire(id: i64, key: &Key, works: bool) -> v1::Key {
    v1::Key {
        id: id.to_string(),
        name: key.asked.name.clone(),
        role: key.asked.role.wire(),
        party: key.asked.party.clone(),
        expires_at: key.asked.expires_us.map(answer::timestamp),
        is_certificate: !key.asked.certificate.is_empty(),
        revoked: key.revoked.clone(),
        works,
    }
}
