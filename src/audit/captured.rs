//! Captured readings by their event: the last ones at hand, older ones looked up in the journal, so that memory does not grow
//! with it.

use std::collections::{HashMap, VecDeque};

use super::Audit;
use crate::journal::event;
use crate::journal::store::Reader;
use crate::work_order::event::{CapturedReading, Change, EventId};

/// How many are at hand; nearly every reading is filed within a few events.
const AT_HAND: usize = 1000;

/// The last captured readings.
#[derive(Debug, Default)]
pub(super) struct Captured {
    by_event: HashMap<EventId, CapturedReading>,
    in_order: VecDeque<EventId>,
}

impl Captured {
    pub(super) fn take(&mut self, event: EventId, captured: CapturedReading) {
        if self.in_order.len() == AT_HAND
            && let Some(oldest) = self.in_order.pop_front()
        {
            self.by_event.remove(&oldest);
        }
        self.in_order.push_back(event);
        self.by_event.insert(event, captured);
    }
}

impl Audit {
    /// The captured reading of an event before `seq`; from the raw file where the database has it no more.
    pub(super) async fn captured(&self, reader: &Reader, id: EventId, seq: u64) -> Option<CapturedReading> {
        if let Some(captured) = self.captured.by_event.get(&id) {
            return Some(captured.clone());
        }
        for source in std::iter::once(reader).chain(self.salvaged.as_ref().map(|salvaged| &salvaged.reader)) {
            let Ok(Some(found)) = source.find(id).await else { continue };
            let Ok(event) = event::parse(&found.row.body) else { continue };
            if let Change::ReadingCaptured(captured) = event.change
                && event.seq < seq
                && event.id == id
            {
                return Some(captured);
            }
        }
        None
    }
}
