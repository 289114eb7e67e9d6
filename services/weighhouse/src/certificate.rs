//! A site's own certificates: its authority, the service's, and those of devices.
//!
//! The authority is made once for a folder and trusted once on each tablet; it signs
//! the certificate the service shows, and one for each fixed device that is to be let in
//! without a key. Private keys are in files that only their owner can read. A folder
//! that has an authority keeps it.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use rcgen::{
    BasicConstraints, CertificateParams, CertifiedIssuer, DnType, ExtendedKeyUsagePurpose, IsCa,
    Issuer, KeyPair, KeyUsagePurpose,
};

/// Days that the authority's certificate holds: ten years.
const AUTHORITY_DAYS: i64 = 3_653;
/// Days that the others hold: what browsers take at most, with a day to spare
/// (398 days; CA/Browser Forum ballot SC31, from memory).
const DAYS: i64 = 397;

/// Why there is no certificate.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CertificateError {
    /// A file cannot be written or read.
    #[error("{file}: {why}")]
    File {
        /// Which.
        file: PathBuf,
        /// As the system says.
        why: std::io::Error,
    },
    /// It is there already.
    #[error("{0} is there already: move it away to make a new one")]
    There(PathBuf),
    /// A name that no certificate can bear, or a file that holds none.
    #[error("no certificate can be made: {0}")]
    Made(#[from] rcgen::Error),
    /// The machine's clock is out of range.
    #[error("no certificate can be made: the machine's clock is wrong")]
    Clock,
}

/// What was made, and what to do with it.
#[derive(Debug)]
pub(crate) struct Made {
    /// The authority, to be trusted by tablets.
    pub(crate) authority: PathBuf,
    /// Whether it was made now.
    pub(crate) is_new: bool,
    /// The certificate.
    pub(crate) certificate: PathBuf,
    /// Its private key; for a device both are in one file.
    pub(crate) key: PathBuf,
    /// SHA-256 of the certificate (DER), hexadecimal.
    pub(crate) sha256: String,
}

/// Makes the certificate that the service shows for these names and addresses.
pub(crate) fn for_service(
    folder: &Path,
    names: &[String],
    now_us: i64,
) -> Result<Made, CertificateError> {
    let (issuer, is_new) = authority(folder, now_us)?;
    let mut params = CertificateParams::new(names.to_vec())?;
    named(
        &mut params,
        names.first().map_or("weighhouse", String::as_str),
    );
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    valid(&mut params, now_us, DAYS)?;
    let key = KeyPair::generate()?;
    let signed = params.signed_by(&key, &issuer)?;
    let (certificate, private) = (folder.join("service.pem"), folder.join("service-key.pem"));
    fresh(&private, &key.serialize_pem(), 0o600)?;
    fresh(&certificate, &signed.pem(), 0o644)?;
    Ok(Made {
        authority: folder.join(AUTHORITY),
        is_new,
        certificate,
        key: private,
        sha256: intake::sha256(signed.der()),
    })
}

/// Makes the certificate that a device shows, with its key in the same file.
pub(crate) fn for_device(
    folder: &Path,
    device: &str,
    now_us: i64,
) -> Result<Made, CertificateError> {
    let (issuer, is_new) = authority(folder, now_us)?;
    let mut params = CertificateParams::new(Vec::new())?;
    named(&mut params, device);
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ClientAuth];
    valid(&mut params, now_us, DAYS)?;
    let key = KeyPair::generate()?;
    let signed = params.signed_by(&key, &issuer)?;
    let file = folder.join(format!("device-{device}.pem"));
    fresh(&file, &(signed.pem() + &key.serialize_pem()), 0o600)?;
    Ok(Made {
        authority: folder.join(AUTHORITY),
        is_new,
        certificate: file.clone(),
        key: file,
        sha256: intake::sha256(signed.der()),
    })
}

const AUTHORITY: &str = "site-authority.pem";
const AUTHORITY_KEY: &str = "site-authority-key.pem";

/// The folder's authority; made where there is none.
fn authority(
    folder: &Path,
    now_us: i64,
) -> Result<(Issuer<'static, KeyPair>, bool), CertificateError> {
    let (file, private) = (folder.join(AUTHORITY), folder.join(AUTHORITY_KEY));
    let read = |file: &Path| {
        std::fs::read_to_string(file).map_err(|why| CertificateError::File {
            file: file.to_owned(),
            why,
        })
    };
    if file.exists() {
        let key = KeyPair::from_pem(&read(&private)?)?;
        return Ok((Issuer::from_ca_cert_pem(&read(&file)?, key)?, false));
    }
    std::fs::create_dir_all(folder).map_err(|why| CertificateError::File {
        file: folder.to_owned(),
        why,
    })?;
    let mut params = CertificateParams::new(Vec::new())?;
    named(&mut params, "Weighhouse site");
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    valid(&mut params, now_us, AUTHORITY_DAYS)?;
    let key = KeyPair::generate()?;
    fresh(&private, &key.serialize_pem(), 0o600)?;
    let issuer = CertifiedIssuer::self_signed(params.clone(), key)?;
    fresh(&file, &issuer.pem(), 0o644)?;
    // Read back, so that a folder used again is used the same way.
    let key = KeyPair::from_pem(&read(&private)?)?;
    Ok((Issuer::from_ca_cert_pem(&read(&file)?, key)?, true))
}

fn named(params: &mut CertificateParams, name: &str) {
    params.distinguished_name.push(DnType::CommonName, name);
}

/// From yesterday on, for clocks that are behind.
fn valid(params: &mut CertificateParams, now_us: i64, days: i64) -> Result<(), CertificateError> {
    const DAY_SECONDS: i64 = 86_400;
    let at = |days: i64| {
        let seconds = now_us.div_euclid(1_000_000) + days * DAY_SECONDS;
        time::OffsetDateTime::from_unix_timestamp(seconds).map_err(|_| CertificateError::Clock)
    };
    params.not_before = at(-1)?;
    params.not_after = at(days)?;
    Ok(())
}

/// Writes a file that is not there yet.
fn fresh(file: &Path, text: &str, mode: u32) -> Result<(), CertificateError> {
    let opened = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .open(file);
    let written = opened.and_then(|mut opened| opened.write_all(text.as_bytes()));
    written.map_err(|why| match why.kind() {
        std::io::ErrorKind::AlreadyExists => CertificateError::There(file.to_owned()),
        _ => CertificateError::File {
            file: file.to_owned(),
            why,
        },
    })
}

/// What a person does next with the service's certificate.
pub(crate) fn told_of_service(made: &Made) -> String {
    let authority = made.authority.display();
    format!(
        "{}the service's certificate is {}, its key {}\n\n\
         Serve with them:\n  weighhouse serve --listen 0.0.0.0:7420 --tls-certificate {} --tls-key {}\n\n\
         A tablet trusts the site once {authority} is on it:\n  \
         Android: Settings, Security, Encryption and credentials, Install a certificate, CA\n    \
         certificate. iOS: open the file, install the profile, then Settings, General, About,\n    \
         Certificate Trust Settings, switch it on. Compare the file's SHA-256 first, by\n    \
         another way than the one it came by. The names of the menus change between versions.\n\
         Commands of this program name it with --ca-file.\n",
        new(made),
        made.certificate.display(),
        made.key.display(),
        made.certificate.display(),
        made.key.display(),
    )
}

/// What a person does next with a device's certificate.
pub(crate) fn told_of_device(made: &Made, device: &str) -> String {
    format!(
        "{}the device's certificate and key are in {}\n\n\
         Let it in, in the role of a buyer say:\n  \
         weighhouse key give --name {device} --role buyer --certificate-sha256 {}\n\n\
         The service takes such certificates with --device-authority {}.\n",
        new(made),
        made.certificate.display(),
        made.sha256,
        made.authority.display(),
    )
}

fn new(made: &Made) -> String {
    if made.is_new {
        format!(
            "made the site's authority, {}: keep its key, beside it, to yourself\n",
            made.authority.display()
        )
    } else {
        String::new()
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    /// 2026-11-25.
    const NOW_US: i64 = 1_795_564_800_000_000;

    #[test]
    fn a_folder_keeps_its_authority_and_its_keys_to_itself() {
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path().join("certificates");
        let names = ["dock.example".to_owned(), "127.0.0.1".to_owned()];
        let made = for_service(&folder, &names, NOW_US).unwrap();
        assert!(made.is_new);
        let authority = std::fs::read(&made.authority).unwrap();
        for private in [&made.key, &folder.join(AUTHORITY_KEY)] {
            let mode = std::fs::metadata(private).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600, "{}", private.display());
        }
        let device = for_device(&folder, "dock-tablet", NOW_US).unwrap();
        assert!(!device.is_new);
        assert_eq!(std::fs::read(&made.authority).unwrap(), authority);
        assert_eq!(device.sha256.len(), 64);
        let again = for_service(&folder, &names, NOW_US).unwrap_err();
        assert!(matches!(again, CertificateError::There(_)), "{again}");
    }
}
