//! How the value of a characteristic is come by: from which quantity of an instrument, or how well by eye.

use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::Dimension;
use crate::measurement::reading::Quantity;

/// The quantity of an instrument that a characteristic is read from; `None` where no instrument reads it.
#[must_use]
pub fn quantity_of(characteristic: Characteristic) -> Option<Quantity> {
    match characteristic {
        Characteristic::TotalMass | Characteristic::HeadMass | Characteristic::ShaftMass | Characteristic::GripMass => {
            Some(Quantity::Mass)
        }
        Characteristic::BalancePoint | Characteristic::ShaftBalance => Some(Quantity::Balance),
        Characteristic::SwingWeight => Some(Quantity::SwingWeight),
        Characteristic::Loft => Some(Quantity::Loft),
        Characteristic::Lie => Some(Quantity::Lie),
        _ => None,
    }
}

/// Standard uncertainty of a value read by eye where none was stated with it (common practice, no source):
/// a rule read to 1/16 in or 1 mm, a caliper on rubber to 0.2 mm, a scale read to 0.1 g, a protractor read to half a
/// degree, a spine or seam found to a twelfth of a turn.
pub(super) fn rule_uncertainty(characteristic: Characteristic) -> f64 {
    match characteristic {
        Characteristic::GripDiameter50 | Characteristic::GripDiameter125 | Characteristic::TapeBuildUp => return 0.1,
        Characteristic::ShaftOrientation => return 15.0,
        _ => {}
    }
    match characteristic.dimension() {
        Dimension::Length => 0.5,
        Dimension::Mass => 0.1,
        Dimension::SwingWeight | Dimension::Angle => 0.25,
        Dimension::Frequency => 1.0,
        Dimension::Inertia => 10.0,
        Dimension::Volume => 1.0,
        Dimension::Duration => 1.0,
        Dimension::Temperature => 0.5,
    }
}
