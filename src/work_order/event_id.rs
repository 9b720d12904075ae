//! The id of an event: made from its own time and its place in the journal, so that a recorded day replays to the same.

/// The UUID of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct EventId(pub uuid::Uuid);

impl std::fmt::Display for EventId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl EventId {
    /// Stands for the typed value that is just being stored, until it has its id.
    pub const TYPED: Self = Self(uuid::Uuid::nil());

    /// The id of event `seq` of journal `epoch` at `at_us`.
    ///
    /// A UUIDv7 (RFC 9562) whose random bits are mixed from the journal's number and the sequence, so a recorded
    /// day replays to the same ids and two journals never share one in practice (62 bits).
    #[must_use]
    pub fn new(epoch: u64, seq: u64, at_us: i64) -> Self {
        let millis = u64::try_from(at_us.max(0) / 1000).unwrap_or(0);
        let mut mixed = [0u8; 10];
        let high = u16::try_from(seq & 0x0fff).unwrap_or(0);
        let low = mix(epoch ^ mix(seq));
        mixed[..2].copy_from_slice(&high.to_be_bytes());
        mixed[2..].copy_from_slice(&low.to_be_bytes());
        Self(uuid::Builder::from_unix_timestamp_millis(millis, &mixed).into_uuid())
    }

    /// Reads the text form.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        uuid::Uuid::try_parse(text).ok().map(Self)
    }
}

/// The finaliser of splitmix64 (public domain): every bit of the input reaches every bit of the output.
pub(super) fn mix(mut x: u64) -> u64 {
    x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_uuid_version_7_with_the_events_own_time() {
        let id = EventId::new(7, 42, 1_700_000_000_123_456);
        assert_eq!(id.0.get_version_num(), 7);
        let millis = id.0.as_u128() >> 80;
        assert_eq!(millis, 1_700_000_000_123);
        assert_eq!(id, EventId::new(7, 42, 1_700_000_000_123_456));
        assert_ne!(id, EventId::new(8, 42, 1_700_000_000_123_456));
        assert_ne!(id, EventId::new(7, 43, 1_700_000_000_123_456));
    }
}
