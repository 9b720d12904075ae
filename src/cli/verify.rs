//! `records verify`: the chain from the first event to the last, and every number from its raw bytes.

use std::path::Path;
use std::process::ExitCode;

use serde_json::json;

use super::access::Access;
use super::print;
use super::segments::Segments;
use crate::audit::{Audit, Fault, audit, audit_damaged};
use crate::journal::damage::Unreadable;
use crate::journal::store::JournalError;

pub(crate) async fn run(access: &Access, folder: Option<&Path>, as_json: bool) -> anyhow::Result<ExitCode> {
    let (mut segments, mut of_segments) = (Vec::new(), Vec::new());
    let audit = match access.reader().await {
        Ok(reader) => {
            let audit = audit(&reader).await;
            // What is told of segments by a damaged event is damage that is named already.
            if let Ok(found) = (Segments { access, folder }).verify(&reader).await {
                (segments, of_segments) = found;
            }
            audit
        }
        // A file that is there and is no database any more is damage, not wrong usage.
        Err(error) => match error.downcast_ref::<JournalError>() {
            Some(JournalError::Database { file, source }) => audit_damaged(file, &Unreadable::words(source)).await,
            _ => return Err(error),
        },
    };
    let gaps: Vec<String> = audit.known_gaps.iter().map(ToString::to_string).collect();
    let faults: Vec<String> = audit.faults.iter().map(Fault::to_string).chain(of_segments).collect();
    let intact = faults.is_empty();
    // The answer is the exit code, too, whoever reads no further.
    print::read_or_not(tell(&audit, &faults, (&gaps, &segments), as_json))?;
    Ok(if intact { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn tell(
    audit: &Audit,
    faults: &[String],
    (gaps, segments): (&[String], &[String]),
    as_json: bool,
) -> anyhow::Result<()> {
    if as_json {
        print::line(
            &json!({"events": audit.events, "readings": audit.readings,
                    "zeros_as_recorded": audit.zeros_as_recorded, "values": audit.values,
                    "references": audit.references, "studies": audit.studies, "chain": audit.chain, "faults": faults,
                    "by_older_rules": audit.older.iter().map(ToString::to_string).collect::<Vec<_>>(),
                    "known_gaps": gaps, "segments": segments})
            .to_string(),
        )?;
    } else {
        for line in faults.iter().chain(segments) {
            print::line(line)?;
        }
        for older in &audit.older {
            print::line(&format!("written by an older benchscribe, comes out otherwise now, no fault: {older}"))?;
        }
        if audit.zeros_as_recorded > 0 {
            print::line(&format!(
                "written by an older benchscribe, which kept no samples of the empty instrument: {} readings, with the zero as recorded",
                audit.zeros_as_recorded
            ))?;
        }
        for gap in gaps {
            print::line(&format!("lost before, as the journal itself tells: {gap}"))?;
        }
        print::line(&format!(
            "{} events in the chain, {} readings recomputed from raw bytes, {} values judged again, {} references and {} steps of studies worked out again: {}",
            audit.events,
            audit.readings,
            audit.values,
            audit.references,
            audit.studies,
            match (faults.len(), audit.older.len()) {
                (0, 0) => "all agree".to_owned(),
                (0, older) => format!("no faults, {older} come out otherwise by the rules of this version"),
                (faults, _) => format!("{faults} faults"),
            }
        ))?;
    }
    Ok(())
}
