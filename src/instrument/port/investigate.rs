//! Runs a search on a port: carries its steps out and tells it what came.

use std::path::Path;

use tokio::time::timeout;

use super::line::{Line, PortError};
use crate::clock::Clock;
use crate::instrument::search::{Finding, Search, Step};

/// Runs a search to its end. The port is free again when this returns.
///
/// # Errors
/// When the port does not open, or is gone before the search has ended.
pub async fn investigate(path: &Path, mut search: Search, clock: Clock) -> Result<Finding, PortError> {
    let mut line = Line::open(path, &search.first_line())?;
    let mut buffer = [0_u8; 1024];
    let mut count = 0;
    loop {
        let heard = buffer.get(..count).unwrap_or_default();
        let step = search.step(clock.now().t_s, heard);
        count = 0;
        match step {
            Step::Set(settings) => match line.set(&settings) {
                // An adapter that does not do a speed leaves it as it was; what is heard then is no frame.
                Ok(()) | Err(PortError::NoSuchLine { .. }) => {}
                Err(gone) => return Err(gone),
            },
            Step::Ask(question) => line.write(&question).await?,
            Step::Listen(longest) => {
                if let Ok(read) = timeout(longest, line.read(&mut buffer)).await {
                    count = read?;
                }
            }
            Step::Finished => return Ok(search.finding(clock.now().t_s)),
        }
    }
}
