//! What a club was handed over with, where its order was changed afterwards.
//!
//! A record and a later version of its club in the order come in. A club that is finished is shown and judged by what it was
//! built to, whatever its order says later; in work again, it is judged by the order as it is then.

use super::difference;
use super::order::ClubSpec;
use super::record::{ClubRecord, ClubState};

impl ClubRecord {
    /// Its order is there in a new version.
    pub(super) fn ordered_anew(&mut self, spec: &ClubSpec) {
        if self.state != ClubState::Finished {
            if !self.judged_anew.is_empty() {
                self.judged_anew.extend(difference::of_club(&self.spec, spec));
            }
            self.spec = spec.clone();
            return;
        }
        // Who it is stays the order's matter.
        self.spec.name.clone_from(&spec.name);
        self.spec.token.clone_from(&spec.token);
        self.ordered_since = (self.spec != *spec).then(|| Box::new(spec.clone()));
    }

    /// It is in work again.
    pub(super) fn taken_into_work(&mut self) {
        self.judged_anew = self.changed_since();
        if let Some(spec) = self.ordered_since.take() {
            self.spec = *spec;
        }
    }

    /// What its order changed since it was handed over, a sentence each; empty where nothing was, or it is not handed over.
    #[must_use]
    pub fn changed_since(&self) -> Vec<String> {
        self.ordered_since.as_ref().map(|now| difference::of_club(&self.spec, now)).unwrap_or_default()
    }

    /// How it stands to an order that was changed after it was handed over, in one sentence.
    #[must_use]
    pub fn order_words(&self) -> Option<String> {
        let ended = if self.ends_with_hand_over() { "handed over" } else { "finished" };
        let (changes, how) = if self.judged_anew.is_empty() {
            (self.changed_since(), format!("is shown as it was {ended}; its order was changed since"))
        } else {
            (
                self.judged_anew.clone(),
                format!("is in work again and judged by its order as it was changed since it was {ended}"),
            )
        };
        (!changes.is_empty()).then(|| format!("{} {how}: {}", self.spec.id, changes.join(", ")))
    }
}
