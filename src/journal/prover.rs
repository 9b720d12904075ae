//! Which of the candidates for a place of the chain is the event that was written there. Pure: texts and hashes in, a
//! standing out.

use super::chain::{GENESIS, link};
use super::salvage::Span;

/// Something that may be the event of a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Candidate {
    pub(super) body: Vec<u8>,
    pub(super) hash: Vec<u8>,
}

/// All candidates for a place, at least one.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) seq: u64,
    pub(super) candidates: Vec<Candidate>,
}

/// What the chain says of a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Standing {
    /// This is the event; its hash is the one that the chain gives it.
    Whole { body: Vec<u8>, hash: String },
    /// The row can be read, but the event before it is lost, so nothing proves its text.
    Unproved { body: Vec<u8>, hash: String },
    /// None of them is.
    Lost,
}

/// Walks the chain from the first place to the last.
#[derive(Debug)]
pub(super) struct Prover {
    seq: u64,
    /// What the hash of the place before may be; nothing where all of it is lost.
    before: Vec<String>,
    /// The place before has its event, so `before` holds the hash that the next one was written with.
    certain: bool,
    /// Hash of the last event that is there: what was written across a gap hangs on it.
    present: String,
    lost: Vec<Span>,
}

impl Default for Prover {
    fn default() -> Self {
        Self { seq: 0, before: vec![GENESIS.to_owned()], certain: true, present: GENESIS.to_owned(), lost: Vec::new() }
    }
}

impl Prover {
    /// Judges the next place; the one behind it may prove what its own hash does not.
    pub(super) fn judge(&mut self, group: &Group, next: Option<&Group>) -> Standing {
        if group.seq > self.seq + 1 {
            self.lost.push(Span { first: self.seq + 1, last: group.seq - 1 });
            self.before.clear();
            self.certain = false;
        }
        self.seq = group.seq;
        let next = next.filter(|next| next.seq == group.seq + 1).map_or(&[][..], |next| &next.candidates);
        let standing = self.standing(group, next);
        self.certain = standing != Standing::Lost;
        match &standing {
            Standing::Whole { hash, .. } | Standing::Unproved { hash, .. } => {
                self.before = vec![hash.clone()];
                self.present.clone_from(hash);
            }
            Standing::Lost => {
                // Either the text or the hash may be as it was.
                let stored = group.candidates.iter().map(|c| String::from_utf8_lossy(&c.hash).into_owned());
                let computed = group.candidates.iter().flat_map(|c| self.before.iter().map(|p| link(p, &c.body)));
                self.before = stored.chain(computed).collect();
                super::salvage::add(&mut self.lost, group.seq);
            }
        }
        standing
    }

    fn standing(&self, group: &Group, next: &[Candidate]) -> Standing {
        let whole = |candidate: &Candidate, hash: String| Standing::Whole { body: candidate.body.clone(), hash };
        for candidate in &group.candidates {
            for before in self.before.iter().chain([&self.present]) {
                let hash = link(before, &candidate.body);
                if hash.as_bytes() == candidate.hash {
                    return whole(candidate, hash);
                }
            }
        }
        for candidate in &group.candidates {
            for before in &self.before {
                let hash = link(before, &candidate.body);
                if next.iter().any(|next| link(&hash, &next.body).as_bytes() == next.hash) {
                    return whole(candidate, hash);
                }
            }
        }
        let readable = |candidate: &&Candidate| {
            let text = std::str::from_utf8(&candidate.body).ok();
            text.and_then(|text| super::event::parse(text).ok()).is_some_and(|event| event.seq == group.seq)
        };
        match group.candidates.iter().find(readable) {
            Some(candidate) if !self.certain => Standing::Unproved {
                body: candidate.body.clone(),
                hash: String::from_utf8_lossy(&candidate.hash).into_owned(),
            },
            _ => Standing::Lost,
        }
    }

    /// The last place that was judged.
    pub(super) fn last(&self) -> u64 {
        self.seq
    }

    /// Places without a whole event.
    pub(super) fn into_lost(self) -> Vec<Span> {
        self.lost
    }
}
