//! What a settling has to say: where a placement stands, what just changed, and the captured value.
//!
//! Plain values without behaviour. `Changes` holds the few changes one sample can cause, without allocation.

/// Where a placement stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Phase {
    /// Nothing lies on the instrument.
    Empty,
    /// Something lies on it and is not at rest yet.
    Settling {
        /// 0 at touch to 1 at capture; may fall back when the load moves again.
        progress: f64,
    },
    /// The value of this placement was captured.
    Held,
    /// A captured placement moved (a touch, a second part, a slip), or the zero is not to be had.
    Disturbed {
        /// As in `Settling`.
        progress: f64,
    },
    /// After a start or a replug: what lies there was not seen coming, so nothing is captured until it left.
    Unknown,
}

/// Why the zero is not to be had on an instrument that nothing was laid down on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ZeroTrouble {
    /// It reads well below zero.
    Below,
    /// Something too light to be a part lies there, in the unit of the first channel.
    Lies(f64),
}

/// The window in which the empty instrument was last looked at for its zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroLook {
    /// First and last time, in seconds, of its despiked samples (or block means), both included.
    pub window: (f64, f64),
    /// The usual disagreement of the halves of such a window before it, which its uncertainty is not below; in the units of
    /// the samples.
    pub unrest: [f64; 2],
    /// Whether it was the short look that begins a session or follows a lost zero.
    pub is_first: bool,
}

/// A value that came to rest, with the window of samples it was averaged over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capture {
    /// Time of the sample that decided, s.
    pub t_s: f64,
    /// Mean over the window less `zero`, in the units of the samples.
    pub values: [f64; 2],
    /// Standard uncertainty (k = 1) of `values`: scatter, resolution and zero; calibration is not in it.
    pub u: [f64; 2],
    /// First and last time, in seconds, of the despiked samples (or block means) that made the mean, both included.
    pub window: (f64, f64),
    /// The tracked zero that was taken off.
    pub zero: [f64; 2],
    /// Standard uncertainty of `zero`.
    pub u_zero: [f64; 2],
    /// Where the empty instrument was seen at that zero; `None` where none is taken off.
    pub zero_look: Option<ZeroLook>,
    /// Number of samples (or block means) in the window.
    pub n: usize,
}

/// One thing that happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// A load touched the empty instrument.
    Placed {
        /// Time, s.
        t_s: f64,
    },
    /// How near the capture is; sent when it moved by a twentieth or more.
    Progress {
        /// Time, s.
        t_s: f64,
        /// 0 to 1.
        progress: f64,
    },
    /// The load has been there, or has been touched, for 6 s and does not rest: ask to let go and wait. Once a placement
    /// and once a touch.
    MovingTooLong {
        /// Time, s.
        t_s: f64,
    },
    /// The load rests, but was laid down before the empty instrument had come to rest: its zero is not known well enough.
    /// Said instead of `MovingTooLong`.
    ZeroUnsure {
        /// Time, s.
        t_s: f64,
    },
    /// A value was captured.
    Captured(Capture),
    /// The level of a captured placement is another one now; a `Captured` follows at once.
    Changed {
        /// Time, s.
        t_s: f64,
    },
    /// The load left.
    Removed {
        /// Time, s.
        t_s: f64,
    },
    /// A captured placement moved.
    Disturbed {
        /// Time, s.
        t_s: f64,
    },
    /// A captured placement came to rest again at the same level; nothing is captured.
    Restored {
        /// Time, s.
        t_s: f64,
    },
    /// Something rests on the instrument that is too light to be a part. It is not taken for drift of the zero, and
    /// nothing is captured until the zero is found. Again when it changes.
    TooLight {
        /// Time, s.
        t_s: f64,
        /// What lies there, in the unit of the first channel.
        load: f64,
    },
    /// The empty instrument reads well below zero: something was tared away or lifted off. No capture until found.
    ZeroLost {
        /// Time, s.
        t_s: f64,
    },
    /// The empty instrument rests at zero (again).
    ZeroFound {
        /// Time, s.
        t_s: f64,
    },
}

/// The changes caused by one sample, at most [`Changes::CAPACITY`], in the order they happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Changes {
    kept: [Option<Change>; Self::CAPACITY],
}

impl Changes {
    /// More than one sample can cause: a late verdict on a spike may let three samples through at once, and
    /// only one of them can capture.
    pub const CAPACITY: usize = 8;

    pub(super) const NONE: Self = Self { kept: [None; Self::CAPACITY] };

    pub(super) fn push(&mut self, change: Change) {
        if let Some(free) = self.kept.iter_mut().find(|slot| slot.is_none()) {
            *free = Some(change);
        }
    }

    /// The changes in order.
    pub fn iter(&self) -> impl Iterator<Item = &Change> {
        self.kept.iter().flatten()
    }

    /// Whether nothing happened.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.kept.first().is_none_or(Option::is_none)
    }

    /// The capture among the changes, if there is one.
    #[must_use]
    pub fn capture(&self) -> Option<Capture> {
        self.iter().find_map(|change| match change {
            Change::Captured(capture) => Some(*capture),
            _ => None,
        })
    }
}

impl IntoIterator for Changes {
    type Item = Change;
    type IntoIter = std::iter::Flatten<std::array::IntoIter<Option<Change>, { Changes::CAPACITY }>>;

    fn into_iter(self) -> Self::IntoIter {
        self.kept.into_iter().flatten()
    }
}
