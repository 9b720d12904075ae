//! `records verify`: the chain from the first event to the last, and every number from its raw bytes.

use std::collections::HashMap;
use std::process::ExitCode;

use serde_json::json;

use super::print;
use crate::journal::chain::{GENESIS, link, sha256};
use crate::journal::evidence;
use crate::journal::store::{BATCH, Reader};
use crate::proof::{prove, prove_filed};
use crate::work_order::event::{CapturedReading, Change, Event, EventId};

/// What was checked and what is wrong.
#[derive(Default)]
struct Audit {
    events: u64,
    readings: u64,
    values: u64,
    faults: Vec<String>,
    calibrations: HashMap<EventId, Change>,
    captured: HashMap<EventId, CapturedReading>,
}

pub(crate) async fn run(reader: &Reader, as_json: bool) -> anyhow::Result<ExitCode> {
    let mut audit = Audit::default();
    let mut previous = GENESIS.to_owned();
    let mut seq = 0;
    loop {
        let rows = reader.after(seq, BATCH).await?;
        if rows.is_empty() {
            break;
        }
        for row in rows {
            if row.seq != seq + 1 {
                audit.fault(row.seq, &format!("events {} to {} are missing", seq + 1, row.seq - 1));
            }
            seq = row.seq;
            audit.events += 1;
            if link(&previous, row.body.as_bytes()) != row.hash {
                audit.fault(seq, "the chain does not hold: this event or the one before was changed");
            }
            previous.clone_from(&row.hash);
            match row.event() {
                Ok(event) if event.seq == seq => audit.event(reader, &event).await?,
                Ok(event) => audit.fault(seq, &format!("it says that it is event {}", event.seq)),
                Err(error) => audit.fault(seq, &error.to_string()),
            }
        }
    }
    let intact = audit.faults.is_empty();
    if as_json {
        print::line(
            &json!({"events": audit.events, "readings": audit.readings, "values": audit.values, "chain": previous,
                    "faults": audit.faults})
            .to_string(),
        )?;
    } else {
        for fault in &audit.faults {
            print::line(fault)?;
        }
        print::line(&format!(
            "{} events in the chain, {} readings recomputed from raw bytes, {} values judged again: {}",
            audit.events,
            audit.readings,
            audit.values,
            if intact { "all agree".to_owned() } else { format!("{} faults", audit.faults.len()) }
        ))?;
    }
    Ok(if intact { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

impl Audit {
    fn fault(&mut self, seq: u64, what: &str) {
        self.faults.push(format!("event {seq}: {what}"));
    }

    async fn event(&mut self, reader: &Reader, event: &Event) -> anyhow::Result<()> {
        match &event.change {
            Change::Calibrated { .. } => {
                self.calibrations.insert(event.id, event.change.clone());
            }
            Change::ReadingCaptured(captured) => {
                self.readings += 1;
                self.captured.insert(event.id, captured.clone());
                let stored = reader.evidence(&captured.evidence).await?;
                if let Err(what) = self.reading(captured, stored.as_deref()) {
                    self.fault(event.seq, &format!("reading of {}: {what}", captured.instrument));
                }
            }
            Change::ReadingFiled { reading, values, .. } => {
                let Some(captured) = self.captured.get(reading) else {
                    self.fault(event.seq, &format!("files reading {reading}, which is not in the journal"));
                    return Ok(());
                };
                let doubts: Vec<String> =
                    values.iter().filter_map(|value| prove_filed(Some(captured), value).err()).map(|d| d.to_string()).collect();
                self.values += u64::try_from(values.len()).unwrap_or(0);
                for doubt in doubts {
                    self.fault(event.seq, &doubt);
                }
            }
            Change::ValueTyped { value, .. } => {
                self.values += 1;
                if let Err(doubt) = prove_filed(None, value) {
                    self.fault(event.seq, &doubt.to_string());
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn reading(&self, captured: &CapturedReading, stored: Option<&[u8]>) -> Result<(), String> {
        let stored = stored.ok_or("its raw bytes are missing")?;
        if sha256(stored) != captured.evidence {
            return Err("its raw bytes were changed".to_owned());
        }
        let frames = evidence::decode(stored).ok_or("its raw bytes are not readable")?;
        let calibrated = self.calibrations.get(&captured.calibration).ok_or("its calibration is not in the journal")?;
        prove(captured, calibrated, &frames).map_err(|doubt| doubt.to_string())
    }
}
