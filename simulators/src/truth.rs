//! What was really laid down, for whoever judges what the daemon made of it.

use serde::ser::{Serialize, SerializeStruct as _, Serializer};

/// One true value of one placement, given at the moment the hand lets go.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Bench time of letting go, RFC 3339, UTC.
    pub t: String,
    /// The same in seconds since the bench was started.
    pub t_s: f64,
    /// Name of the instrument.
    pub instrument: &'static str,
    /// Name of the characteristic: `head_mass`, `swing_weight` and so on.
    pub characteristic: &'static str,
    /// Stage of the club: `part`, `dry_fit`, `gripped` or `final`.
    pub stage: &'static str,
    /// The club's name in the order.
    pub club: String,
    /// The true value, in `unit`.
    pub value: f64,
    /// `g`, `mm`, `deg` or `{point}` (swing-weight points from A0).
    pub unit: &'static str,
}

impl Serialize for Truth {
    /// The fields by their names, and the value once more as `true_value`.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut fields = serializer.serialize_struct("Truth", 9)?;
        fields.serialize_field("t", &self.t)?;
        fields.serialize_field("t_s", &self.t_s)?;
        fields.serialize_field("instrument", self.instrument)?;
        fields.serialize_field("characteristic", self.characteristic)?;
        fields.serialize_field("stage", self.stage)?;
        fields.serialize_field("club", &self.club)?;
        fields.serialize_field("value", &self.value)?;
        fields.serialize_field("true_value", &self.value)?;
        fields.serialize_field("unit", self.unit)?;
        fields.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_truth_is_written_with_its_value_under_both_names() {
        let truth = Truth {
            t: "2001-09-09T01:46:40.000Z".to_owned(),
            t_s: 1.5,
            instrument: "parts-scale",
            characteristic: "head_mass",
            stage: "part",
            club: "W-1042/1".to_owned(),
            value: 203.25,
            unit: "g",
        };
        let expected = r#"{"t":"2001-09-09T01:46:40.000Z","t_s":1.5,"instrument":"parts-scale","characteristic":"head_mass","stage":"part","club":"W-1042/1","value":203.25,"true_value":203.25,"unit":"g"}"#;
        assert_eq!(serde_json::to_string(&truth).unwrap(), expected);
    }
}
