//! Turns changes into events with their place in the journal.

use super::event::{Change, Event, EventId};
use crate::measurement::stamp::Stamp;

/// Gives events their place, in order.
#[derive(Debug, Clone)]
pub struct Numbering {
    epoch: u64,
    next: u64,
    /// The last typed value, for the step that it proves.
    typed: Option<EventId>,
}

impl Numbering {
    /// Continues journal `epoch` behind `last`.
    #[must_use]
    pub fn after(epoch: u64, last: u64) -> Self {
        Self { epoch, next: last + 1, typed: None }
    }

    /// Turns a change into the next event.
    pub fn event(&mut self, stamp: Stamp, by: Option<&str>, mut change: Change) -> Event {
        let seq = self.next;
        self.next += 1;
        let id = EventId::new(self.epoch, seq, stamp.at_us);
        match &mut change {
            Change::ValueTyped { .. } => self.typed = Some(id),
            Change::StepDone { proof: Some(proof), .. } if *proof == EventId::TYPED => {
                *proof = self.typed.unwrap_or(*proof);
            }
            _ => {}
        }
        Event { epoch: self.epoch, seq, id, at_us: stamp.at_us, by: by.map(str::to_owned), change }
    }
}
