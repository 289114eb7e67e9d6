//! `see-to`: says that a person has seen to a flag.
//!
//! A flag's key is long; its beginning is enough where no other key begins the
//! same. The close does not change, and whoever saw to it before stays there.

use proto::v1;

use crate::known::Known;
use crate::service::Service;
use crate::trouble::Trouble;
use crate::{Reach, flags};

/// Characters that a key is shown by.
pub(crate) const SHOWN: usize = 8;
/// Characters of a whole key.
const WHOLE: usize = 32;
/// Fewest characters of a key that are looked for.
const FEWEST: usize = 4;

/// Arguments of `see-to`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse see-to --key 5b1c6a9e --reason found-in-the-soup-bin")]
pub struct SeeTo {
    /// The flag's key, or its beginning, as `flags` and `close` print it
    #[arg(long)]
    key: String,
    /// How it was seen to
    #[arg(long, value_name = "TEXT")]
    reason: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl SeeTo {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let request_id = self
            .request_id
            .unwrap_or_else(uuid::Uuid::new_v4)
            .to_string();
        let answer = service
            .acknowledge_flag(v1::AcknowledgeFlagRequest {
                request_id: request_id.clone(),
                key: whole_key(&service, &self.key).await?,
                reason: self.reason,
            })
            .await
            .map_err(|trouble| {
                trouble
                    .of_request(&request_id)
                    .in_flags(&[("key", "--key"), ("reason", "--reason")])
            })?;
        let flag = answer
            .flag
            .clone()
            .ok_or(Trouble::Unreadable("there is no flag in it"))?;
        self.reach
            .say(&service, &answer, |known| flags::text(&[flag], known))
            .await
    }
}

/// The key that begins like this.
async fn whole_key(service: &Service, key: &str) -> Result<String, Trouble> {
    if key.len() == WHOLE {
        return Ok(key.to_owned());
    }
    if key.chars().count() < FEWEST {
        return Err(Trouble::Typed(format!(
            "--key: give at least {FEWEST} characters of the key"
        )));
    }
    let known = Known::ask(service).await?;
    let mut keys = Vec::new();
    for site in known.sites.keys() {
        for flag in flags::all(service, *site, None, None, false).await?.flags {
            if flag.key.starts_with(key) {
                keys.push(flag.key);
            }
        }
    }
    one_key(key, keys)
}

fn one_key(key: &str, keys: Vec<String>) -> Result<String, Trouble> {
    match keys.as_slice() {
        [one] => Ok(one.clone()),
        [] => Err(Trouble::Typed(format!(
            "--key: no flag's key begins with \"{key}\"; `weighhouse flags` lists them"
        ))),
        several => Err(Trouble::Typed(format!(
            "--key: {} flags' keys begin with \"{key}\"; give more of it: {}",
            several.len(),
            several.join(", ")
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_beginning_of_a_key_is_enough_where_it_is_the_only_one() {
        let keys = |keys: &[&str]| keys.iter().map(|key| (*key).to_owned()).collect();
        let told = |found| match one_key("5b1c", keys(found)) {
            Ok(key) => key,
            Err(trouble) => trouble.to_string(),
        };
        assert_eq!(told(&["5b1c6a9e"]), "5b1c6a9e");
        assert!(told(&[]).starts_with("--key: no flag's key begins"));
        assert!(told(&["5b1c6a9e", "5b1cffff"]).ends_with("give more of it: 5b1c6a9e, 5b1cffff"));
    }
}
