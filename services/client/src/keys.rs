//! `key`: gives out keys, revokes and lists them.

use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use clap::{Subcommand, ValueEnum};
use proto::v1;

use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;
use crate::{Reach, request_id};

/// Arguments of `key`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  weighhouse key give --name dock-tablet --role buyer --file dock-tablet.key
  weighhouse key give --name phone --role diver --party wren-haldane
  weighhouse key list
  weighhouse key revoke --id 2031042700000000040 --reason lost-at-the-dock
  weighhouse key mine")]
pub struct Key {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Give out a key; its secret is shown once
    Give(Give),
    /// Revoke a key for good
    Revoke(Revoke),
    /// List every key ever given out
    List {
        #[command(flatten)]
        reach: Reach,
    },
    /// Say whose key this is
    Mine {
        #[command(flatten)]
        reach: Reach,
    },
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Role {
    /// Weighs in and runs the dock.
    Buyer,
    /// Sees their own tickets and money.
    Diver,
    /// Records their own cuts.
    Kitchen,
    /// Posts price lists, closes days, gives out keys.
    Office,
    /// Reads everything, writes nothing.
    Auditor,
}

#[derive(Debug, clap::Args)]
struct Give {
    /// What people call it, such as the tablet it is for
    #[arg(long)]
    name: String,
    /// What its holder may do
    #[arg(long, value_enum)]
    role: Role,
    /// Party it is for; needed for a diver and a kitchen. For the others a buyer,
    /// whose sites alone it reaches
    #[arg(long, default_value = "")]
    party: String,
    /// When it ends, such as 2031-12-31T18:00:00-05:00
    #[arg(long, value_name = "INSTANT", value_parser = crate::instant)]
    expires: Option<prost_types::Timestamp>,
    /// SHA-256 of a device's certificate, which then stands for the key
    #[arg(long, value_name = "HEX", default_value = "")]
    certificate_sha256: String,
    /// Write the secret into a new file that only its owner can read, instead of
    /// printing it
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// UUID of the request; sent again, it gives the first key without its secret. A
    /// new one when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

#[derive(Debug, clap::Args)]
struct Revoke {
    /// The key's id, as `key list` prints it
    #[arg(long)]
    id: String,
    /// Why
    #[arg(long)]
    reason: String,
    /// UUID of the request; sent again, it gives the first answer. A new one when
    /// left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

/// Wire fields as they are typed.
const FLAGS: &[(&str, &str)] = &[
    ("name", "--name"),
    ("role", "--role"),
    ("party", "--party"),
    ("expires_at", "--expires"),
    ("certificate_sha256", "--certificate-sha256"),
    ("key", "--id"),
    ("reason", "--reason"),
];

impl Key {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        match self.what {
            What::Give(give) => give.run().await,
            What::Revoke(revoke) => revoke.run().await,
            What::List { reach } => {
                let service = reach.service().await?;
                let answer = service.list_keys(v1::ListKeysRequest {}).await?;
                reach
                    .say(&service, &answer, |known| list(&answer.keys, known))
                    .await
            }
            What::Mine { reach } => {
                let service = reach.service().await?;
                let answer = service.get_caller(v1::GetCallerRequest {}).await?;
                reach
                    .say(&service, &answer, |known| mine(&answer, known))
                    .await
            }
        }
    }
}

impl Give {
    async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let role = match self.role {
            Role::Buyer => v1::Role::Buyer,
            Role::Diver => v1::Role::Diver,
            Role::Kitchen => v1::Role::Kitchen,
            Role::Office => v1::Role::Office,
            Role::Auditor => v1::Role::Auditor,
        };
        let id = request_id(self.request_id);
        let mut answer = service
            .issue_key(v1::IssueKeyRequest {
                request_id: id.clone(),
                name: self.name,
                role: role.into(),
                party: self.party,
                expires_at: self.expires,
                certificate_sha256: self.certificate_sha256,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id).in_flags(FLAGS))?;
        if let (Some(file), false) = (&self.file, answer.secret.is_empty()) {
            keep(file, &answer.secret)?;
            answer.secret.clear();
        }
        let file = self.file.as_deref();
        self.reach
            .say(&service, &answer, |known| given(&answer, file, known))
            .await
    }
}

impl Revoke {
    async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let id = request_id(self.request_id);
        let answer = service
            .revoke_key(v1::RevokeKeyRequest {
                request_id: id.clone(),
                key: self.id,
                reason: self.reason,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id).in_flags(FLAGS))?;
        let key = answer.key.clone().unwrap_or_default();
        self.reach
            .say(&service, &answer, |known| list(&[key], known))
            .await
    }
}

/// Puts a secret into a new file that only its owner can read.
fn keep(file: &Path, secret: &str) -> Result<(), Trouble> {
    let written = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(file)
        .and_then(|mut file| file.write_all(format!("{secret}\n").as_bytes()));
    written.map_err(|why| {
        Trouble::Typed(format!(
            "--file {}: {why}; the key was given out and its secret is lost: revoke it and give \
             out another",
            file.display()
        ))
    })
}

/// A key just given out.
#[must_use]
pub fn given(answer: &v1::IssueKeyResponse, file: Option<&Path>, known: &Known) -> String {
    let key = answer.key.clone().unwrap_or_default();
    let mut page = Page::title(format!("Key {}", key.id));
    page.facts(&[
        ("name", key.name.clone()),
        ("role", role(key.role)),
        ("for", party(&key.party, known)),
        ("ends", show::instant(key.expires_at.as_ref(), None)),
    ]);
    page.line("");
    match (answer.secret.as_str(), file) {
        ("", Some(file)) => page.line(format!("  Its secret is in {}.", file.display())),
        ("", None) if key.is_certificate => page.line("  The certificate stands for it."),
        ("", None) => page.line("  Its secret was shown when it was given out, and is not kept."),
        (secret, _) => {
            page.line(format!("  {secret}"));
            page.line("");
            page.paragraph(
                "This is shown once. Put it into a file that only its holder can read, and name \
                 the file with --key-file or WEIGHHOUSE_KEY_FILE.",
            );
        }
    }
    page.done()
}

/// Keys, one a row.
#[must_use]
pub fn list(keys: &[v1::Key], known: &Known) -> String {
    let mut page = Page::title("Keys");
    let row = |key: &v1::Key| {
        let state = match (key.works, key.revoked.as_str()) {
            (true, _) => "works".to_owned(),
            (false, "") => "has ended".to_owned(),
            (false, reason) => format!("revoked: {reason}"),
        };
        let kind = if key.is_certificate {
            "certificate"
        } else {
            "secret"
        };
        vec![
            key.id.clone(),
            key.name.clone(),
            role(key.role),
            party(&key.party, known),
            kind.to_owned(),
            show::instant(key.expires_at.as_ref(), None),
            state,
        ]
    };
    page.table(
        &[
            Column::Left("id"),
            Column::Left("name"),
            Column::Left("role"),
            Column::Left("for"),
            Column::Left("kind"),
            Column::Left("ends"),
            Column::Left("state"),
        ],
        &keys.iter().map(row).collect::<Vec<_>>(),
    );
    page.done()
}

fn mine(answer: &v1::GetCallerResponse, known: &Known) -> String {
    let mut page = Page::title("This key");
    page.facts(&[
        ("name", answer.key_name.clone()),
        ("role", role(answer.role)),
        ("for", party(&answer.party, known)),
    ]);
    page.done()
}

fn party(code: &str, known: &Known) -> String {
    if code.is_empty() {
        "the whole book".to_owned()
    } else {
        known.party(code)
    }
}

fn role(number: i32) -> String {
    let role = v1::Role::try_from(number).unwrap_or_default();
    show::plain(role.as_str_name(), "Role")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_listed_with_its_role_and_whether_it_works() {
        let key = v1::Key {
            id: "2031050500000000001".to_owned(),
            name: "phone".to_owned(),
            role: v1::Role::Diver.into(),
            party: "wren-haldane".to_owned(),
            works: true,
            ..v1::Key::default()
        };
        let lost = v1::Key {
            works: false,
            revoked: "left at the dock".to_owned(),
            ..key.clone()
        };
        let text = list(&[key, lost], &Known::default());
        let rows: Vec<Vec<&str>> = text
            .lines()
            .skip(3)
            .map(|line| line.split("  ").map(str::trim).collect())
            .collect();
        assert_eq!(rows[0][1..3], ["phone", "diver"], "{text}");
        assert!(
            text.lines()
                .nth(3)
                .is_some_and(|row| row.ends_with("works")),
            "{text}"
        );
        assert!(text.ends_with("revoked: left at the dock\n"), "{text}");
    }
}
