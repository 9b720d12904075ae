//! Every number of an event worked out again from what the journal says before it.

use super::{Audit, causes};
use crate::journal::chain::sha256;
use crate::journal::evidence;
use crate::journal::store::Reader;
use crate::proof::{Doubt, NUMBERS_SINCE, ZEROS_SINCE, ZeroProof, prove, prove_filed, version};
use crate::work_order::checks::Chart;
use crate::work_order::event::{CapturedReading, Change, Event, EventId, FiledValue};
use crate::work_order::laid::laid;
use crate::work_order::order::ClubSpec;
use crate::work_order::study::Study;
use crate::work_order::{part_desk, study_desk, trust};

impl Audit {
    pub(super) async fn event(&mut self, reader: &Reader, event: &Event) {
        let seq = Some(event.seq);
        match &event.change {
            Change::SessionStarted { version: by, .. } => {
                let by = version(by);
                self.is_older = by.is_some_and(|by| by < NUMBERS_SINCE);
                self.lacks_zeros = by.is_some_and(|by| by < ZEROS_SINCE);
            }
            Change::Calibrated { instrument, .. } => {
                self.calibrations.insert(event.id, event.change.clone());
                if let Some(what) = self.adjustment(instrument, &event.change) {
                    self.doubt_of_calibrations(seq, what);
                }
            }
            Change::ReadingCaptured(captured) => {
                self.readings += 1;
                self.captured.take(event.id, captured.clone());
                match self.reading(reader, captured).await {
                    Ok(Ok(ZeroProof::WorkedOut)) => {
                        let has_look = captured.budget_inputs.is_some_and(|inputs| inputs.zero_look.is_some());
                        if has_look && self.lacks_zeros {
                            let what =
                                "the samples of its zero are kept, which the version its session names does not do";
                            self.fault(seq, &format!("reading of {}: {what}", captured.instrument));
                        }
                    }
                    // Which version wrote what stands behind a lost event is not known.
                    Ok(Ok(ZeroProof::AsRecorded)) if self.lacks_zeros || self.lost => self.zeros_as_recorded += 1,
                    Ok(Ok(ZeroProof::AsRecorded)) => {
                        let what = "nothing is kept of the empty instrument its zero was seen on";
                        self.doubt(seq, &format!("reading of {}: {what}", captured.instrument));
                    }
                    Ok(Err(doubt)) => self.doubt(seq, &format!("reading of {}: {doubt}", captured.instrument)),
                    Err(what) => self.fault(seq, &format!("reading of {}: {what}", captured.instrument)),
                }
                if let Some(what) = self.inputs(captured, event.at_us) {
                    self.doubt(seq, &format!("reading of {}: {what}", captured.instrument));
                }
            }
            Change::ReadingFiled { reading, values, club, .. } => {
                self.limits(event, club, values);
                let Some(captured) = self.captured(reader, *reading, event.seq).await else {
                    self.fault(seq, &format!("files reading {reading}, which is not in the journal"));
                    return;
                };
                self.values += u64::try_from(values.len()).unwrap_or(0);
                let doubts: Vec<String> = values
                    .iter()
                    .filter_map(|value| prove_filed(Some(&captured), value).err())
                    .map(|d| d.to_string())
                    .collect();
                for doubt in doubts {
                    self.doubt(seq, &doubt);
                }
            }
            Change::ValueTyped { value, club, .. } => {
                self.values += 1;
                self.limits(event, club, std::slice::from_ref(value));
                if let Err(doubt) = prove_filed(None, value) {
                    self.doubt(seq, &doubt.to_string());
                }
            }
            Change::Checked(check) => {
                if let Some(reading) = check.reading {
                    self.reference(reader, event, reading).await;
                }
            }
            Change::AnglesChecked(check) => self.reference(reader, event, check.reading).await,
            Change::ReferenceRead { placement, .. } => self.reference(reader, event, placement.reading).await,
            Change::PartMeasured(part) => {
                self.values += 1;
                let captured = self.captured(reader, part.reading, event.seq).await;
                let again = captured.and_then(|c| part_desk::take(&self.fold.state, part.reading, &c));
                if !matches!(again, Some(Ok(changes)) if changes.first() == Some(&event.change)) {
                    self.doubt(seq, "its intake and its reading give this part another number or weight");
                }
            }
            Change::PartUsed(used) => {
                let Some(weighed) = &used.weighed else { return };
                self.values += u64::try_from(weighed.values.len()).unwrap_or(0);
                let captured = self.captured(reader, weighed.reading, event.seq).await;
                if captured.is_none() {
                    let what = format!("uses reading {}, which is not in the journal", weighed.reading);
                    self.fault(seq, &what);
                    return;
                }
                let doubt = weighed.values.iter().find_map(|value| prove_filed(captured.as_ref(), value).err());
                if let Some(doubt) = doubt {
                    self.doubt(seq, &doubt.to_string());
                }
            }
            Change::StudyRead(value) => {
                self.studies += 1;
                let captured = self.captured(reader, value.reading, event.seq).await;
                let again = captured.and_then(|c| study_desk::take(&self.fold.state, value.reading, &c, event.at_us));
                if !matches!(again, Some(Ok(changes)) if changes.first() == Some(&event.change)) {
                    self.doubt(
                        seq,
                        "the study's plan and the readings before give this reading another place or value",
                    );
                }
            }
            Change::StudyFinished { study, summary } => {
                self.studies += 1;
                if self.fold.state.studies.get(study).and_then(Study::summary).as_ref() != Some(summary) {
                    self.doubt(seq, "the readings of the study give another result than the record says");
                }
            }
            _ => {}
        }
    }

    /// What a budget was made with must be what the events before it say: calibration in force and errors found.
    fn inputs(&self, captured: &CapturedReading, at_us: i64) -> Option<&'static str> {
        // Behind a lost event the fold knows less than the bench did.
        if self.lost {
            return None;
        }
        let in_force = self.fold.state.calibrations.get(&captured.instrument).map(|in_force| in_force.event);
        if in_force != Some(captured.calibration) {
            return Some("another calibration was in force than the record says");
        }
        if captured.laid.is_some() && captured.laid != laid(&self.fold.state, &captured.instrument, at_us) {
            return Some("another club or block lay in the gauge than the record says");
        }
        let inputs = captured.budget_inputs?;
        let found = self.fold.state.trust.charts.get(&captured.instrument).and_then(Chart::drift);
        (inputs.drift != found).then_some("the checks before it found another drift than the record says")
    }

    /// Limits and rule of a filed value must be those of its order and of the bench at that moment.
    fn limits(&mut self, event: &Event, club: &str, values: &[FiledValue]) {
        if self.lost {
            return;
        }
        if self.fold.let_go.contains_key(club) {
            // Its last event was another one by the index, which is named by the comparison with the events.
            return;
        }
        let Some(record) = self.fold.state.clubs.get(club) else {
            self.fault(Some(event.seq), &format!("files a value of {club}, which no order has"));
            return;
        };
        let rule = self.fold.state.policy.rule;
        let doubts: Vec<String> = values
            .iter()
            .filter_map(|value| {
                let asked = |spec: &ClubSpec| {
                    let target = spec.target(value.characteristic).map(|row| row.target).unwrap_or_default();
                    (target.value, target.lower, target.upper) == (value.target, value.lower, value.upper)
                };
                let name = value.characteristic.name();
                // An older program judged a club that was handed over by its order as it was changed since.
                if !asked(&record.spec) && !record.ordered_since.as_deref().is_some_and(asked) {
                    return Some(format!("the order asked for another {name} than the record says"));
                }
                (rule != value.rule).then(|| format!("the {name} was judged by another rule than the bench had"))
            })
            .collect();
        for doubt in doubts {
            self.fault(Some(event.seq), &doubt);
        }
    }

    /// A check or a placement of a reference, worked out again from its reading.
    async fn reference(&mut self, reader: &Reader, event: &Event, reading: EventId) {
        self.references += 1;
        let captured = self.captured(reader, reading, event.seq).await;
        let again = captured.and_then(|captured| trust::take(&self.fold.state, reading, &captured, event.at_us));
        if again.as_deref() != Some(std::slice::from_ref(&event.change)) {
            self.doubt_of_calibrations(
                Some(event.seq),
                "reading, reference and calibration give something else than the record says",
            );
        }
    }

    /// An adjustment must be the one that was proposed from the readings before it.
    fn adjustment(&self, instrument: &str, change: &Change) -> Option<&'static str> {
        let Change::Calibrated { calibration, report: Some(report), .. } = change else { return None };
        let under_way = self.fold.state.trust.calibrating.get(instrument);
        let same = under_way.is_some_and(|c| c.report == **report && c.proposal.as_ref() == Some(calibration));
        (!same).then_some("its report is not that of the readings before it")
    }

    /// What of a reading comes out otherwise from its raw bytes; what is wrong with these is an error.
    async fn reading(&self, reader: &Reader, captured: &CapturedReading) -> Result<Result<ZeroProof, Doubt>, String> {
        let stored = match reader.evidence(&captured.evidence).await {
            Ok(Some(stored)) => Some(stored),
            found => match &self.salvaged {
                Some(salvaged) => salvaged.reader.evidence(&captured.evidence).await.ok().flatten(),
                None => found.map_err(|error| causes(&error))?,
            },
        };
        let stored = stored.ok_or("its raw bytes are missing")?;
        if sha256(&stored) != captured.evidence {
            return Err("its raw bytes were changed".to_owned());
        }
        let frames = evidence::decode(&stored).ok_or("its raw bytes are not readable")?;
        let calibrated = self.calibrations.get(&captured.calibration).ok_or("its calibration is not in the journal")?;
        Ok(prove(captured, calibrated, &frames))
    }
}
