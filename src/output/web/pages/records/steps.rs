//! The steps on a club's record page: which of them can be taken back or done again from there, and what was taken back.

use super::RecordPage;
use crate::output::web::pages::parts::{said_text, with};
use crate::work_order::record::{ClubState, StepRecord, StepTakenBack};
use crate::work_order::step_back::done_behind;
use crate::work_order::steps::Step;

impl RecordPage<'_> {
    /// Whether a step can be taken back from here: the last one that a person marked done at a club that is not finished.
    pub(super) fn may_go(&self, step: &StepRecord) -> bool {
        let is_persons = step.proof.is_none() && step.step != Step::HandOver;
        self.club.state != ClubState::Finished && is_persons && done_behind(self.club, step).is_none()
    }

    /// Whether a step can be done again from here, which stands beside the last time it was done.
    pub(super) fn may_come_again(&self, step: &StepRecord) -> bool {
        let is_last = self.club.steps.iter().rfind(|done| done.step == step.step) == Some(step);
        let is_on_route = self.club.spec.route().contains(&step.step);
        let is_its_own = self.is_open && self.club.state != ClubState::Finished && step.step != Step::HandOver;
        is_last && is_on_route && is_its_own && self.club.stands(step)
    }

    pub(super) fn named(&self, key: &str, step: &StepRecord) -> String {
        self.shell.with(key, &[("step", &said_text(step.step.label()))])
    }

    pub(super) fn taken_back(&self, back: &StepTakenBack) -> String {
        let why = said_text(&back.why);
        match &back.by {
            Some(by) => with("record.step.taken_back_by", &[("by", by), ("why", &why)]),
            None => with("record.step.taken_back", &[("why", &why)]),
        }
    }
}
