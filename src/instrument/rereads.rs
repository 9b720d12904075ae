//! A scanner that reads one code over and over: the same read, until it has not been read for a second.
//!
//! A code with the time it was read comes in, whether that is news leaves. Pure; one for each scanner.

/// A code that is read again within this time, in seconds, is still the same read: a card that lies under a scanner. Whoever
/// scans on purpose a second time needs longer than that to take the card away and bring it back (common practice, no source).
pub const SAME_READ_S: f64 = 1.0;

/// The codes that a scanner has read within that time: of a sheet of cards it may see two in turn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Rereads {
    reads: Vec<(String, f64)>,
}

impl Rereads {
    /// Whether a code that was read at `t_s`, in seconds of the session, is one that lies there still. Every further read prolongs
    /// that.
    pub fn is_same_read(&mut self, code: &str, t_s: f64) -> bool {
        self.reads.retain(|(_, read_s)| t_s - read_s < SAME_READ_S);
        let same = self.reads.iter_mut().find(|(read, _)| read == code);
        let is_same = same.is_some();
        match same {
            Some((_, read_s)) => *read_s = t_s,
            None => self.reads.push((code.to_owned(), t_s)),
        }
        is_same
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(reads: &[(f64, &str)], expected: &[usize]) {
        let mut rereads = Rereads::default();
        let news = reads.iter().enumerate().filter(|(_, (t_s, code))| !rereads.is_same_read(code, *t_s));
        assert_eq!(news.map(|(at, _)| at).collect::<Vec<_>>(), expected, "{reads:?}");
    }

    #[test]
    fn a_code_that_is_read_over_and_over_is_one_read() {
        check(&[(1.0, "a"), (1.1, "a"), (1.2, "a")], &[0]);
        // As long as it lies there.
        let held: Vec<(f64, &str)> = (0..50).map(|n| (f64::from(n) * 0.6, "a")).collect();
        check(&held, &[0]);
        check(&[(1.0, "a"), (1.9, "a"), (2.8, "a"), (3.8, "a")], &[0, 3]);
        check(&[(1.0, "a"), (2.0, "a"), (4.0, "a")], &[0, 1, 2]);
    }

    #[test]
    fn another_code_is_news_and_two_that_lie_side_by_side_are_two_reads() {
        check(&[(1.0, "a"), (1.2, "b"), (1.4, "a"), (1.6, "b"), (1.8, "a")], &[0, 1]);
        check(&[(1.0, "a"), (1.2, "b"), (2.1, "a"), (2.1, "b")], &[0, 1, 2]);
    }
}
