//! `topics`: what is published over MQTT, described for other programs.

use std::process::ExitCode;

use super::print;
use crate::output::mqtt::description::description;

pub(crate) fn run() -> anyhow::Result<ExitCode> {
    print::bytes(description().as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
