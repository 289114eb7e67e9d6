//! TLS of the service, from the files of its certificate.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::WebPkiClientVerifier;
use rustls::{RootCertStore, ServerConfig};

/// Why there is no TLS.
#[derive(Debug, thiserror::Error)]
pub(crate) enum TlsError {
    /// A file cannot be read, or is not what it should be.
    #[error("{file} is no {what}: {why}")]
    File {
        /// Which.
        file: PathBuf,
        /// What it should be.
        what: &'static str,
        /// Why not.
        why: String,
    },
    /// The certificate and the key do not go together.
    #[error("this certificate and key do not go together: {0}")]
    Pair(#[from] rustls::Error),
    /// The authority for devices is no authority.
    #[error("certificates of devices cannot be verified: {0}")]
    Devices(#[from] rustls::server::VerifierBuilderError),
}

/// TLS 1.2 and 1.3, HTTP/2 before HTTP/1.1. With an authority for devices a client may
/// show a certificate of it; none needs to.
pub(crate) fn config(
    certificate: &Path,
    key: &Path,
    devices: Option<&Path>,
) -> Result<Arc<ServerConfig>, TlsError> {
    let chain = certificates(certificate)?;
    let private = PrivateKeyDer::from_pem_file(key).map_err(|why| TlsError::File {
        file: key.to_owned(),
        what: "private key (PEM)",
        why: why.to_string(),
    })?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ServerConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()?;
    let builder = match devices {
        None => builder.with_no_client_auth(),
        Some(file) => {
            let mut roots = RootCertStore::empty();
            for authority in certificates(file)? {
                roots.add(authority)?;
            }
            let verifier = WebPkiClientVerifier::builder_with_provider(roots.into(), provider)
                .allow_unauthenticated()
                .build()?;
            builder.with_client_cert_verifier(verifier)
        }
    };
    let mut config = builder.with_single_cert(chain, private)?;
    config.alpn_protocols = vec![b"h2".to_vec(), b"http/1.1".to_vec()];
    Ok(Arc::new(config))
}

fn certificates(file: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let bad = |why: String| TlsError::File {
        file: file.to_owned(),
        what: "certificate (PEM)",
        why,
    };
    let found = CertificateDer::pem_file_iter(file).map_err(|why| bad(why.to_string()))?;
    let chain: Vec<_> = found
        .collect::<Result<_, _>>()
        .map_err(|why| bad(why.to_string()))?;
    if chain.is_empty() {
        return Err(bad("there is none in it".to_owned()));
    }
    Ok(chain)
}
