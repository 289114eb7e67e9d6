//! The secret of a key, a session or a link: 256 random bits, and how they are known
//! afterwards. The desk keeps none; faces make them.

use sha2::{Digest as _, Sha256};

/// Says what such a text is when it is found somewhere, by a person or a scanner.
const PREFIX: &str = "whkey_";
/// Random bytes in it.
const BYTES: usize = 32;

/// A fresh secret as text: the prefix and 64 hexadecimal digits.
///
/// # Errors
/// The machine has no randomness to give.
pub fn fresh_secret() -> Result<String, getrandom::Error> {
    Ok(format!("{PREFIX}{}", fresh_token()?))
}

/// A fresh secret of a session or a link: 64 hexadecimal digits and nothing else.
///
/// # Errors
/// The machine has no randomness to give.
pub fn fresh_token() -> Result<String, getrandom::Error> {
    let mut bytes = [0; BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(hex(&bytes))
}

/// What the book knows of a session or a link; nothing for a text that is neither.
#[must_use]
pub fn sha256_of_token(token: &str) -> Option<String> {
    let is_one = token.len() == 2 * BYTES && token.bytes().all(|b| b.is_ascii_hexdigit());
    is_one.then(|| sha256(token.as_bytes()))
}

/// What the book knows of a secret, lower-case hexadecimal; nothing for a text that is
/// no secret at all.
///
/// A plain hash is enough: nobody guesses 256 random bits. Looking it up takes as long
/// as it takes, which tells only about the hash of what the caller sent.
#[must_use]
pub fn sha256_of_secret(secret: &str) -> Option<String> {
    let digits = secret.strip_prefix(PREFIX)?;
    let is_one = digits.len() == 2 * BYTES && digits.bytes().all(|b| b.is_ascii_hexdigit());
    is_one.then(|| sha256(secret.as_bytes()))
}

/// SHA-256, lower-case hexadecimal; of a certificate (DER) what it is known by.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_secret_is_256_bits_and_no_two_are_alike() {
        let (one, other) = (fresh_secret().unwrap(), fresh_secret().unwrap());
        assert_eq!(one.len(), "whkey_".len() + 64);
        assert_ne!(one, other);
        assert_ne!(sha256_of_secret(&one), sha256_of_secret(&other));
        assert_eq!(sha256_of_secret(&one).unwrap().len(), 64);
    }

    #[test]
    fn what_is_no_secret_is_not_looked_up() {
        let secret = fresh_secret().unwrap();
        for wrong in ["", "whkey_", "whkey_12", &secret[6..], &secret[..69]] {
            assert_eq!(sha256_of_secret(wrong), None, "{wrong}");
        }
        assert_eq!(sha256_of_secret(&format!("{secret}0")), None);
    }

    #[test]
    fn a_key_is_no_token_and_a_token_no_key() {
        let (key, token) = (fresh_secret().unwrap(), fresh_token().unwrap());
        assert_eq!(sha256_of_token(&key), None);
        assert_eq!(sha256_of_secret(&token), None);
        assert_eq!(sha256_of_token(&token).unwrap(), sha256(token.as_bytes()));
        assert_eq!(sha256_of_token(&token[1..]), None);
    }

    #[test]
    fn sha256_is_the_published_one() {
        // FIPS 180-4, example "abc", from memory.
        assert_eq!(
            sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
