//! How a club is to be made, as far as the order says: where its shaft is cut, what its parts measure, what it repeats.
//!
//! Plain values of the order; what follows from them is in `marks` and in `club::fit`.

use crate::club::cut::CutPlan;
use crate::club::fit::FitSizes;

/// What is known of how a club is to be made. Nothing, for an order that does not say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Build {
    /// What decides where the shaft is cut.
    pub cut: Option<CutPlan>,
    /// Sizes of the parts, for what fits.
    pub fit: Option<FitSizes>,
    /// What touches the stop of the beam at the dry fit.
    pub dry_fit_stop: DryFitStop,
    /// The id of the club that this one repeats.
    pub again_of: Option<String>,
}

super::order::named!(
    /// What touches the stop of the beam while a club lies on it without its grip bonded.
    #[derive(Default)]
    DryFitStop {
        /// The cap of the grip that is laid on.
        #[default]
        Cap = "cap",
        /// The bare end of the shaft; the grip lies on the shaft, level with it.
        Bare = "bare",
    }
);

impl Build {
    /// Whether the order says nothing.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        *self == Self::default()
    }
}
