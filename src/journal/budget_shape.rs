//! The stored shape of budgets and decision rules, part of the events' version 1.

use serde::{Deserialize, Serialize};

use super::event::by_name;
use crate::measurement::reading::Quantity;
use crate::measurement::settling::ZeroLook;
use crate::measurement::uncertainty::{BalanceDrift, Budget, Component, Drift, Source};
use crate::work_order::event::BudgetInputs;

#[derive(Serialize, Deserialize)]
#[serde(remote = "Budget")]
struct BudgetShape {
    #[serde(with = "by_name")]
    quantity: Quantity,
    #[serde(with = "components")]
    components: Vec<Component>,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Component")]
struct ComponentShape {
    #[serde(with = "by_name")]
    source: Source,
    u: f64,
    /// Absent for what is taken as known exactly.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    freedom: Option<f64>,
}

#[derive(Serialize, Deserialize)]
struct StoredInputs {
    u_zero: [f64; 2],
    #[serde(default, skip_serializing_if = "Option::is_none")]
    zero_look: Option<StoredLook>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    drift: Option<StoredDrift>,
}

#[derive(Serialize, Deserialize)]
struct StoredLook {
    window_s: [f64; 2],
    unrest: [f64; 2],
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    first: bool,
}

#[derive(Serialize, Deserialize)]
struct StoredDrift {
    #[serde(default)]
    relative: f64,
    /// Of a beam checked at known places alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    balance: Option<StoredBalance>,
    /// Of a gauge alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    angles_deg: Option<[f64; 2]>,
    freedom: f64,
}

#[derive(Serialize, Deserialize)]
struct StoredBalance {
    mm: f64,
    correlation: f64,
    freedom: f64,
}

super::event::list_of!(components, Component, "ComponentShape");
super::event::list_of!(budgets, Budget, "BudgetShape");

/// Inputs of a budget, where there are any.
pub(super) mod optional_inputs {
    use super::{BalanceDrift, BudgetInputs, Drift, StoredBalance, StoredDrift, StoredInputs, StoredLook, ZeroLook};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(crate) fn serialize<S: Serializer>(inputs: &Option<BudgetInputs>, serializer: S) -> Result<S::Ok, S::Error> {
        let drift = |drift: Drift| StoredDrift {
            relative: drift.relative,
            balance: drift.balance.map(|BalanceDrift { mm, correlation, freedom }| StoredBalance {
                mm,
                correlation,
                freedom,
            }),
            angles_deg: Some(drift.angles_deg).filter(|angles| angles.iter().any(|angle| *angle != 0.0)),
            freedom: drift.freedom,
        };
        let look = |look: ZeroLook| StoredLook {
            window_s: [look.window.0, look.window.1],
            unrest: look.unrest,
            first: look.is_first,
        };
        inputs
            .map(|i| StoredInputs { u_zero: i.u_zero, zero_look: i.zero_look.map(look), drift: i.drift.map(drift) })
            .serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<BudgetInputs>, D::Error> {
        let drift = |drift: StoredDrift| Drift {
            relative: drift.relative,
            balance: drift.balance.map(|StoredBalance { mm, correlation, freedom }| BalanceDrift {
                mm,
                correlation,
                freedom,
            }),
            angles_deg: drift.angles_deg.unwrap_or_default(),
            freedom: drift.freedom,
        };
        let stored = Option::<StoredInputs>::deserialize(deserializer)?;
        let look = |look: StoredLook| ZeroLook {
            window: (look.window_s[0], look.window_s[1]),
            unrest: look.unrest,
            is_first: look.first,
        };
        Ok(stored.map(|i| BudgetInputs {
            u_zero: i.u_zero,
            zero_look: i.zero_look.map(look),
            drift: i.drift.map(drift),
        }))
    }
}

/// A decision rule by its text.
pub(super) mod as_text {
    use crate::work_order::judging::DecisionRule;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(crate) fn serialize<S: Serializer>(rule: &DecisionRule, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&rule.text())
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<DecisionRule, D::Error> {
        let text = String::deserialize(deserializer)?;
        DecisionRule::parse(&text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a decision rule")))
    }
}
