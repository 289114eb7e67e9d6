//! What a client shows, and whom it trusts.
//!
//! A key is kept in a file that only its owner can read; it is never typed, so that it
//! stands in no history of a shell.

use std::path::{Path, PathBuf};

use tonic::metadata::AsciiMetadataValue;
use tonic::service::Interceptor;
use tonic::transport::{Certificate, ClientTlsConfig, Identity};
use tonic::{Request, Status};

use crate::trouble::Trouble;

/// Where the office's key lies when `serve` ran in this folder.
pub const USUAL_KEY_FILE: &str = "weighhouse.db.office-key";

/// What a command shows, as typed.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Shown {
    /// File with the key to show [default: weighhouse.db.office-key, where there is one]
    #[arg(long, value_name = "FILE", env = "WEIGHHOUSE_KEY_FILE")]
    pub key_file: Option<PathBuf>,
    /// Certificate of the site (PEM), for an address that begins with https
    #[arg(long, value_name = "FILE", env = "WEIGHHOUSE_CA_FILE")]
    pub ca_file: Option<PathBuf>,
    /// Certificate and private key of this device (PEM, both in one file), where it has
    /// one instead of a key
    #[arg(long, value_name = "FILE", env = "WEIGHHOUSE_DEVICE_FILE")]
    pub device_file: Option<PathBuf>,
}

impl Shown {
    /// Reads the files.
    ///
    /// # Errors
    /// One that cannot be read, or holds no key.
    pub fn read(&self) -> Result<Pass, Trouble> {
        let usual = Path::new(USUAL_KEY_FILE);
        let key = match (&self.key_file, &self.device_file) {
            (Some(file), _) => Some(key_in(file)?),
            (None, None) if usual.exists() => Some(key_in(usual)?),
            (None, _) => None,
        };
        let pem = |file: &PathBuf| std::fs::read(file).map_err(|why| cannot_read(file, &why));
        let ca = self.ca_file.as_ref().map(pem).transpose()?;
        let device = self.device_file.as_ref().map(pem).transpose()?;
        Ok(Pass { key, ca, device })
    }
}

/// What a client shows to the service.
#[derive(Clone, Default)]
pub struct Pass {
    key: Option<AsciiMetadataValue>,
    ca: Option<Vec<u8>>,
    device: Option<Vec<u8>>,
}

impl std::fmt::Debug for Pass {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Pass").finish_non_exhaustive()
    }
}

impl Pass {
    /// A key that is in a file.
    ///
    /// # Errors
    /// The file cannot be read, or holds no key.
    pub fn in_file(file: &Path) -> Result<Pass, Trouble> {
        Ok(Pass {
            key: Some(key_in(file)?),
            ..Pass::default()
        })
    }

    /// TLS for `server`, where its address asks for it.
    pub(crate) fn tls(&self, server: &str) -> Result<Option<ClientTlsConfig>, Trouble> {
        if !server.starts_with("https:") {
            return Ok(None);
        }
        let Some(ca) = &self.ca else {
            return Err(Trouble::Typed(
                "an https address needs --ca-file: the site's certificate, which `weighhouse \
                 certificate` wrote"
                    .to_owned(),
            ));
        };
        let tls = ClientTlsConfig::new().ca_certificate(Certificate::from_pem(ca));
        Ok(Some(match &self.device {
            Some(pem) => tls.identity(Identity::from_pem(pem, pem)),
            None => tls,
        }))
    }
}

impl Interceptor for Pass {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(key) = &self.key {
            request.metadata_mut().insert("authorization", key.clone());
        }
        Ok(request)
    }
}

fn key_in(file: &Path) -> Result<AsciiMetadataValue, Trouble> {
    let text = std::fs::read_to_string(file).map_err(|why| cannot_read(file, &why))?;
    let no_key = || Trouble::Typed(format!("{} holds no key", file.display()));
    let secret = text.trim();
    if secret.is_empty() {
        return Err(no_key());
    }
    let mut value: AsciiMetadataValue = format!("Bearer {secret}").parse().map_err(|_| no_key())?;
    value.set_sensitive(true);
    Ok(value)
}

fn cannot_read(file: &Path, why: &std::io::Error) -> Trouble {
    Trouble::Typed(format!("{} cannot be read: {why}", file.display()))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_key_is_shown_and_never_printed() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        std::fs::write(&file, "whkey_00ff\n").unwrap();
        let mut pass = Pass::in_file(&file).unwrap();
        let request = pass.call(Request::new(())).unwrap();
        let shown = request.metadata().get("authorization").unwrap();
        assert_eq!(shown.to_str().unwrap(), "Bearer whkey_00ff");
        assert!(!format!("{pass:?} {request:?}").contains("00ff"));
    }

    #[test]
    fn a_file_that_is_named_must_hold_a_key() {
        let folder = tempfile::tempdir().unwrap();
        let empty = folder.path().join("empty");
        std::fs::write(&empty, " \n").unwrap();
        let missing = folder.path().join("missing");
        for (file, says) in [(empty, "holds no key"), (missing, "cannot be read")] {
            let error = Pass::in_file(&file).unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
    }

    #[test]
    fn an_https_address_needs_the_sites_certificate() {
        let pass = Pass::default();
        assert!(pass.tls("http://127.0.0.1:1").unwrap().is_none());
        let error = pass.tls("https://127.0.0.1:1").unwrap_err().to_string();
        assert!(error.contains("--ca-file"), "{error}");
    }
}
