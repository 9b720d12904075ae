//! The hash chain over the journal, and canonical bytes.

use sha2::{Digest, Sha256};

/// The hash before the first event.
pub const GENESIS: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// SHA-256 (hex) over the previous hash (as its 64 hex characters) and the event's canonical bytes.
///
/// With the hash as text, anyone can recompute a link with a shell and a common checksum program.
#[must_use]
pub fn link(previous: &str, canonical: &[u8]) -> String {
    let mut hasher = Sha256::new();
    hasher.update(previous.as_bytes());
    hasher.update(canonical);
    hex(&hasher.finalize())
}

/// SHA-256 (hex) of some bytes.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

pub(super) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a String cannot fail.
        let _infallible = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sha256_is_that_of_the_standard() {
        // FIPS 180-4 example, one block: "abc".
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn a_link_covers_the_previous_hash_and_every_byte() {
        let first = link(GENESIS, b"{}");
        assert_eq!(first, sha256(&[GENESIS.as_bytes(), b"{}"].concat()));
        assert_ne!(link(&first, b"{}"), first);
        assert_ne!(link(GENESIS, b"{ }"), first);
    }
}
