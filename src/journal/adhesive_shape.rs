//! The stored shape of adhesives and batches.

use serde::{Deserialize, Serialize};

use super::event::list_of;
use crate::work_order::adhesive::{Adhesive, AtTemperature, Batch, Times};

list_of!(ranges, AtTemperature, "AtTemperatureShape");

#[derive(Serialize, Deserialize)]
#[serde(remote = "Adhesive")]
pub(super) struct AdhesiveShape {
    id: String,
    name: String,
    source: String,
    #[serde(with = "ranges")]
    at: Vec<AtTemperature>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "AtTemperature")]
pub(super) struct AtTemperatureShape {
    from_c: f64,
    to_c: f64,
    working_life_s: f64,
    cure_s: f64,
    play_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Batch")]
pub(super) struct BatchShape {
    name: String,
    adhesive: String,
    product: String,
    lot: Option<String>,
    temperature_c: f64,
    #[serde(flatten, with = "TimesShape")]
    times: Times,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Times")]
struct TimesShape {
    working_life_s: f64,
    cure_s: f64,
    play_s: f64,
}
