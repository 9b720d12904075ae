//! The topics described for other programs: an AsyncAPI 3.0 document with a JSON Schema for each payload. The schema of a record is
//! the published one, put in here, so that there is one of it.

use std::sync::LazyLock;

use serde_json::Value;

use crate::output::record::SCHEMA;

const TOPICS: &str = include_str!("asyncapi.json");
/// Where the record's schema belongs.
const RECORD: &str = "/components/messages/record/payload/schema";

static DESCRIPTION: LazyLock<String> = LazyLock::new(|| {
    let mut topics: Value = serde_json::from_str(TOPICS).expect("a file of the program; a test reads it");
    let record = serde_json::from_str(SCHEMA).expect("a file of the program; a test reads it");
    if let Some(place) = topics.pointer_mut(RECORD) {
        *place = record;
    }
    format!("{topics:#}\n")
});

/// The document.
#[must_use]
pub fn description() -> &'static str {
    &DESCRIPTION
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_schema_of_records_is_in_its_place() {
        let document: Value = serde_json::from_str(description()).unwrap();
        assert_eq!(document["asyncapi"], "3.0.0");
        assert_eq!(document.pointer(RECORD).unwrap()["$id"], "urn:benchscribe:build-record:1");
    }
}
