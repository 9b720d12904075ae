//! `records verify`: the chain from the first event to the last, and every number from its raw bytes.

use std::process::ExitCode;

use serde_json::json;

use super::access::Access;
use super::print;
use crate::audit::{Fault, audit, audit_damaged};
use crate::journal::damage::Unreadable;
use crate::journal::store::JournalError;

pub(crate) async fn run(access: &Access, as_json: bool) -> anyhow::Result<ExitCode> {
    let audit = match access.reader().await {
        Ok(reader) => audit(&reader).await,
        // A file that is there and is no database any more is damage, not wrong usage.
        Err(error) => match error.downcast_ref::<JournalError>() {
            Some(JournalError::Database { file, source }) => audit_damaged(file, &Unreadable::words(source)).await,
            _ => return Err(error),
        },
    };
    let gaps: Vec<String> = audit.known_gaps.iter().map(ToString::to_string).collect();
    let intact = audit.faults.is_empty();
    if as_json {
        let faults: Vec<String> = audit.faults.iter().map(Fault::to_string).collect();
        print::line(
            &json!({"events": audit.events, "readings": audit.readings, "values": audit.values,
                    "references": audit.references, "studies": audit.studies, "chain": audit.chain, "faults": faults,
                    "known_gaps": gaps})
            .to_string(),
        )?;
    } else {
        for fault in &audit.faults {
            print::line(&fault.to_string())?;
        }
        for gap in &gaps {
            print::line(&format!("lost before, as the journal itself tells: {gap}"))?;
        }
        print::line(&format!(
            "{} events in the chain, {} readings recomputed from raw bytes, {} values judged again, {} references and {} steps of studies worked out again: {}",
            audit.events,
            audit.readings,
            audit.values,
            audit.references,
            audit.studies,
            if intact { "all agree".to_owned() } else { format!("{} faults", audit.faults.len()) }
        ))?;
    }
    Ok(if intact { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
