//! What is to be built: the orders and clubs that the builder is given, and an invented example.

/// One work order to build.
#[derive(Clone, Debug, PartialEq)]
pub struct OrderPlan {
    /// The order's name.
    pub order: String,
    /// The text to scan that opens the order.
    pub ticket: String,
    /// Its clubs in the order of their making.
    pub clubs: Vec<ClubPlan>,
}

/// A whole day: what lies in the tray in the morning, and who comes to the door.
#[derive(Clone, Debug, PartialEq)]
pub struct DayPlan {
    /// The orders of the morning. The one whose turn comes first should have three clubs or more: most goes wrong there.
    pub orders: Vec<OrderPlan>,
    /// The order of a player who waits at the door for new grips.
    pub door: OrderPlan,
}

/// What sort of club; decides where its parts balance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClubKind {
    /// The longest wood.
    Driver,
    /// Any other wood.
    FairwayWood,
    /// Between a wood and an iron.
    Hybrid,
    /// An iron.
    Iron,
    /// A wedge.
    Wedge,
    /// A putter.
    Putter,
}

impl ClubKind {
    /// Share of its length at which the shaft balances when nothing else is asked (invented).
    pub(crate) fn shaft_balance(self) -> f64 {
        match self {
            Self::Driver | Self::FairwayWood | Self::Hybrid => 0.49,
            Self::Iron | Self::Wedge | Self::Putter => 0.51,
        }
    }

    /// Where the grip balances (invented).
    pub(crate) fn grip_at_mm(self) -> f64 {
        if self == Self::Putter { 130.0 } else { 112.0 }
    }
}

/// One club to build: what the order asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct ClubPlan {
    /// The club's name in the order, `W-1042/1`.
    pub club: String,
    /// The text to scan that opens the club.
    pub ticket: String,
    /// What sort of club.
    pub kind: ClubKind,
    /// Target mass of the head, g.
    pub head_mass_g: f64,
    /// Target mass of the cut shaft, g.
    pub shaft_mass_g: f64,
    /// Target mass of the grip, g.
    pub grip_mass_g: f64,
    /// Target length, mm.
    pub length_mm: f64,
    /// Target swing weight, points from A0.
    pub swing_weight_points: f64,
    /// Target loft in the vertical sense, degrees.
    pub loft_deg: f64,
    /// Target lie, degrees.
    pub lie_deg: f64,
}

impl OrderPlan {
    /// Three clubs of ordinary dimensions (common practice, no source).
    #[must_use]
    pub fn example() -> Self {
        let club = |number: u32, kind, masses_g: [f64; 3], length_mm, swing_weight_points, angles_deg: [f64; 2]| {
            let [head_mass_g, shaft_mass_g, grip_mass_g] = masses_g;
            let [loft_deg, lie_deg] = angles_deg;
            ClubPlan {
                club: format!("W-1042/{number}"),
                ticket: format!("club W-1042/{number}"),
                kind,
                head_mass_g,
                shaft_mass_g,
                grip_mass_g,
                length_mm,
                swing_weight_points,
                loft_deg,
                lie_deg,
            }
        };
        Self {
            order: "W-1042".to_owned(),
            ticket: "order W-1042".to_owned(),
            clubs: vec![
                club(1, ClubKind::Driver, [203.0, 63.0, 50.0], 1143.0, 33.0, [10.5, 58.0]),
                club(2, ClubKind::Iron, [260.0, 115.0, 50.0], 965.2, 32.0, [27.0, 61.0]),
                club(3, ClubKind::Wedge, [292.0, 118.0, 50.0], 901.7, 33.0, [46.0, 64.0]),
            ],
        }
    }
}
