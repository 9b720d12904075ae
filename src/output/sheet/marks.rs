//! The drawings of a sheet: the strip of a deviation, the club to scale, its angles.

use super::canvas::{Align, At, Canvas, Ink, Style};
use crate::club::characteristic::Characteristic;
use crate::output::work_view::CharacteristicView;
use crate::work_order::order::{ClubKind, Hand};
use crate::work_order::record::ClubRecord;

/// A strip for one value: which values its ends stand for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Strip {
    low: f64,
    high: f64,
}

impl Strip {
    /// A strip that shows the limits well: what is allowed takes its middle half; with one limit, three quarters on the
    /// good side; with a target alone, the target in the middle. `None` where nothing is asked for.
    pub(super) fn of(view: &CharacteristicView) -> Option<Self> {
        let (low, high) = match (view.lower, view.upper, view.target) {
            (Some(lower), Some(upper), _) if upper > lower => {
                let half = (upper - lower) / 2.0;
                (lower - half, upper + half)
            }
            (None, Some(upper), _) => {
                let unit = room(upper, view.value);
                (upper - 3.0 * unit, upper + unit)
            }
            (Some(lower), None, _) => {
                let unit = room(lower, view.value);
                (lower - unit, lower + 3.0 * unit)
            }
            (_, _, Some(target)) => {
                let unit = room(target, view.value);
                (target - 2.0 * unit, target + 2.0 * unit)
            }
            _ => return None,
        };
        (high > low).then_some(Self { low, high })
    }

    /// Where a value stands, from 0 at the left end to 1 at the right one; beyond them outside of that.
    pub(super) fn place(self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }

    /// Draws band, target and mark into a field; `out` marks a value beyond its limits.
    pub(super) fn draw(self, canvas: &mut Canvas<'_>, at: At, size: At, view: &CharacteristicView) {
        let (x, y) = at;
        let (width, height) = size;
        let along = |value: f64| x + width * self.place(value).clamp(0.0, 1.0);
        let (top, middle, bottom) = (y + height * 0.22, y + height * 0.5, y + height * 0.78);
        if view.lower.is_some() || view.upper.is_some() {
            let left = view.lower.map_or(x, along);
            let right = view.upper.map_or(x + width, along);
            canvas.rectangle((left, top), (right - left, bottom - top), Ink::Band);
            for edge in [view.lower, view.upper].into_iter().flatten() {
                canvas.line((along(edge), top), (along(edge), bottom), 0.25, Ink::Black);
            }
        }
        canvas.line((x, middle), (x + width, middle), 0.15, Ink::Line);
        if let Some(target) = view.target {
            canvas.line((along(target), top - 0.5), (along(target), bottom + 0.5), 0.35, Ink::Black);
        }
        let Some(value) = view.value else { return };
        let out = matches!(view.verdict, Some("under" | "over"));
        let ink = if out { Ink::Alarm } else { Ink::Black };
        if let Some(u) = view.u {
            canvas.line((along(value - 2.0 * u), middle), (along(value + 2.0 * u), middle), 0.5, ink);
        }
        let half = height * 0.2;
        let place = self.place(value);
        if (0.0..=1.0).contains(&place) {
            let at = along(value);
            canvas.shape(&[(at - half, middle), (at, middle - half), (at + half, middle), (at, middle + half)], ink);
        } else {
            // Beyond the strip: an arrow at its end says to which side.
            let (tip, back) = if place < 0.0 { (x, x + 2.0 * half) } else { (x + width, x + width - 2.0 * half) };
            canvas.shape(&[(tip, middle), (back, middle - half), (back, middle + half)], ink);
        }
    }
}

/// Room beside a limit so that the value is seen: a fortieth of the limit, or as much as the value needs.
fn room(limit: f64, value: Option<f64>) -> f64 {
    let needed = value.map_or(0.0, |value| (value - limit).abs() / 2.5);
    (limit.abs() / 40.0).max(needed).max(1e-6)
}

/// Millimetres of a club in one of the drawing: clubs of a set can be compared with a ruler.
pub(super) const CLUB_SCALE: f64 = 7.0;
/// Length of a grip and the fulcrum of the swing weight, in millimetres (14 in). The grip is common practice, no source.
const GRIP_MM: f64 = 265.0;
const FULCRUM_MM: f64 = 355.6;

/// The club to scale, butt at the left: length above, fulcrum and balance point below. Takes 27 mm of height.
pub(super) fn club(canvas: &mut Canvas<'_>, at: At, record: &ClubRecord, views: &[CharacteristicView]) {
    let find = |wanted: Characteristic| views.iter().find(|view| view.characteristic == wanted.name());
    let length_view = find(Characteristic::Length);
    let length = length_view.and_then(|view| view.value).unwrap_or_else(|| record.spec.length_mm());
    let (x, axis) = (at.0, at.1 + 14.0);
    let along = |mm: f64| x + mm / CLUB_SCALE;
    let end = along(length.clamp(300.0, 1250.0));
    let small = Style::of(7.0);
    // Grip and shaft taper; the widths are drawn for looks.
    canvas.shape(
        &[
            (along(0.0), axis - 1.9),
            (along(GRIP_MM), axis - 1.4),
            (along(GRIP_MM), axis + 1.4),
            (along(0.0), axis + 1.9),
        ],
        Ink::Black,
    );
    canvas.shape(
        &[
            (along(GRIP_MM), axis - 0.8),
            (end - 6.0, axis - 0.45),
            (end - 6.0, axis + 0.45),
            (along(GRIP_MM), axis + 0.8),
        ],
        Ink::Grey,
    );
    head(canvas, (end, axis), record.spec.kind);
    // Length, as a dimension line.
    let above = at.1 + 4.5;
    canvas.line((x, above - 1.5), (x, axis - 2.4), 0.15, Ink::Grey);
    canvas.line((end, above - 1.5), (end, axis - 5.0), 0.15, Ink::Grey);
    canvas.line((x, above), (end, above), 0.2, Ink::Black);
    canvas.shape(&[(x, above), (x + 2.0, above - 0.7), (x + 2.0, above + 0.7)], Ink::Black);
    canvas.shape(&[(end, above), (end - 2.0, above - 0.7), (end - 2.0, above + 0.7)], Ink::Black);
    let words = match length_view {
        Some(CharacteristicView { text: Some(text), .. }) => format!("{text} as built"),
        Some(CharacteristicView { target_text: Some(text), .. }) => format!("{text} asked for, not measured yet"),
        _ => "length not asked for".to_owned(),
    };
    let half = canvas.width(&words, small.bold()) / 2.0 + 1.5;
    let middle = (x + end) / 2.0;
    canvas.rectangle((middle - half, above - 1.6), (2.0 * half, 3.2), Ink::White);
    canvas.text((middle, above + 0.9), &words, small.bold().align(Align::Centre));
    let foot = axis + 2.6;
    let triangle = |at: f64| [(at, foot), (at - 1.6, foot + 2.8), (at + 1.6, foot + 2.8)];
    canvas.outline(&triangle(along(FULCRUM_MM)), 0.25, Ink::Black);
    canvas.text((along(FULCRUM_MM), foot + 6.0), "14 in", small.align(Align::Centre).ink(Ink::Grey));
    if let Some((balance, text)) =
        find(Characteristic::BalancePoint).and_then(|view| Some((view.value?, view.text.as_deref()?)))
    {
        canvas.shape(&triangle(along(balance)), Ink::Black);
        canvas.text((along(balance), foot + 6.0), &format!("balance point {text}"), small.align(Align::Centre));
    }
    let scale = format!("drawn 1 : {CLUB_SCALE:.0}");
    canvas.text((x, foot + 6.0), &scale, small.ink(Ink::Grey));
}

/// A head at the end of its shaft, for looks.
fn head(canvas: &mut Canvas<'_>, (x, y): At, kind: ClubKind) {
    let outline: &[At] = match kind {
        ClubKind::Driver => {
            &[(-8.0, -0.9), (-5.0, -3.6), (-1.5, -4.4), (0.0, -2.0), (0.0, 3.8), (-3.0, 4.6), (-9.0, 1.4)]
        }
        ClubKind::Fairway | ClubKind::Hybrid => {
            &[(-7.0, -0.8), (-3.5, -2.6), (-0.6, -2.8), (0.0, -1.0), (0.0, 3.6), (-2.6, 3.9), (-7.6, 1.0)]
        }
        ClubKind::Iron | ClubKind::Wedge => &[
            (-7.0, -0.6),
            (-2.6, -1.2),
            (-0.4, -1.6),
            (0.0, 0.0),
            (-0.6, 5.6),
            (-2.4, 6.8),
            (-3.4, 5.0),
            (-3.8, 1.0),
            (-7.0, 0.6),
        ],
        ClubKind::Putter => {
            &[(-6.4, -0.6), (-2.2, -0.8), (-2.2, -4.0), (0.0, -4.0), (0.0, 5.0), (-2.2, 5.0), (-2.2, 0.8), (-6.4, 0.6)]
        }
    };
    let corners: Vec<At> = outline.iter().map(|(dx, dy)| (x + dx, y + dy)).collect();
    canvas.shape(&corners, Ink::Black);
}

/// Which angle is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Drawn {
    /// The shaft over the ground.
    Lie,
    /// The face from the vertical.
    Loft,
}

/// Lie and loft at their true angles, side by side in a field: target dashed, as built in full, what it is off in a fan.
pub(super) fn angles(canvas: &mut Canvas<'_>, at: At, width: f64, views: &[CharacteristicView], hand: Hand) {
    let each = width / 2.0;
    let mut any = false;
    for (drawn, wanted, left) in [(Drawn::Lie, Characteristic::Lie, 0.0), (Drawn::Loft, Characteristic::Loft, each)] {
        let field = (at.0 + left, at.1);
        if let Some(view) = views.iter().find(|view| view.characteristic == wanted.name()) {
            angle(canvas, field, each - 3.0, view, drawn, hand);
            any = true;
        }
    }
    if any {
        let words = format!("true angles; the fan shows what they are off {FAN:.0} times wider");
        canvas.text((at.0, at.1 + 43.2), &words, Style::of(6.2).ink(Ink::Grey));
    }
}

/// One angle, in a field 40 mm high.
fn angle(canvas: &mut Canvas<'_>, at: At, width: f64, view: &CharacteristicView, drawn: Drawn, hand: Hand) {
    let ground = at.1 + 32.0;
    let reach = 24.0_f64.min(width * 0.7);
    let mirrored = if hand == Hand::Left { -1.0 } else { 1.0 };
    let foot = match (drawn, hand) {
        (Drawn::Lie, Hand::Right) | (Drawn::Loft, Hand::Left) => (at.0 + width * 0.72, ground),
        _ => (at.0 + width * 0.28, ground),
    };
    // From the foot: the shaft leans back over the ground, the face lies back from the vertical.
    let tip = |degrees: f64, reach: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        match drawn {
            Drawn::Lie => (foot.0 - mirrored * reach * cos, foot.1 - reach * sin),
            Drawn::Loft => (foot.0 + mirrored * reach * sin, foot.1 - reach * cos),
        }
    };
    canvas.line((at.0, ground), (at.0 + width, ground), 0.3, Ink::Black);
    if drawn == Drawn::Loft {
        canvas.dashed(foot, (foot.0, ground - reach), 0.15, Ink::Grey);
    }
    if let Some(target) = view.target {
        canvas.dashed(foot, tip(target, reach), 0.25, Ink::Black);
        fan(canvas, view, target, |degrees, radius| tip(degrees, reach + radius));
    }
    let shown = view.value.or(view.target);
    if let Some(value) = view.value {
        let out = matches!(view.verdict, Some("under" | "over"));
        canvas.line(foot, tip(value, reach), 0.8, if out { Ink::Alarm } else { Ink::Black });
    }
    if let Some(shown) = shown {
        let arc: Vec<At> = (0..=20).map(|step| tip(shown * f64::from(step) / 20.0, 11.0)).collect();
        canvas.polyline(&arc, 0.2, Ink::Grey);
    }
    let line = Style::of(7.0);
    let built = view.text.clone().unwrap_or_else(|| "not measured yet".to_owned());
    canvas.text((at.0, at.1 + 36.0), &format!("{} {built}", view.label), line.bold());
    if let Some(target) = &view.target_text {
        canvas.text_whole((at.0, at.1 + 39.4), width, &format!("asked for {target}"), line.ink(Ink::Grey));
    }
}

/// How much wider than true the fan at the end of an angle shows what it is off.
const FAN: f64 = 12.0;

/// Around the end of the target's line: the limits, the target and the value as built, widened [`FAN`] times, since half a
/// degree would not be seen.
fn fan(canvas: &mut Canvas<'_>, view: &CharacteristicView, target: f64, tip: impl Fn(f64, f64) -> At) {
    // What is far off stays in the field.
    let wide = |value: f64| target + ((value - target) * FAN).clamp(-18.0, 18.0);
    if let (Some(lower), Some(upper)) = (view.lower, view.upper) {
        let (lower, upper) = (wide(lower), wide(upper));
        let along = |step: u8| lower + (upper - lower) * f64::from(step) / 12.0;
        let inner = (0..=12).map(|step| tip(along(step), 0.8));
        let outer = (0..=12).rev().map(|step| tip(along(step), 4.2));
        let ring: Vec<At> = inner.chain(outer).collect();
        canvas.shape(&ring, Ink::Band);
        for edge in [lower, upper] {
            canvas.line(tip(edge, 0.8), tip(edge, 4.2), 0.25, Ink::Black);
        }
    }
    canvas.line(tip(target, 0.3), tip(target, 4.7), 0.35, Ink::Black);
    if let Some(value) = view.value {
        let out = matches!(view.verdict, Some("under" | "over"));
        let (at, half) = (wide(value), 1.3);
        let mark = [tip(at, 2.5 - half), tip(at - 2.4, 2.5), tip(at, 2.5 + half), tip(at + 2.4, 2.5)];
        canvas.shape(&mark, if out { Ink::Alarm } else { Ink::Black });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view(lower: Option<f64>, upper: Option<f64>, target: Option<f64>, value: Option<f64>) -> CharacteristicView {
        CharacteristicView {
            characteristic: "lie",
            label: "lie",
            stage: "final",
            unit: "deg",
            target,
            lower,
            upper,
            target_text: None,
            value,
            text: None,
            u: None,
            deviation: None,
            deviation_text: None,
            verdict: None,
            marginal: false,
            instrument: None,
            method: None,
            captured_at: None,
            event: None,
        }
    }

    #[test]
    fn limits_and_values_keep_their_order_on_a_strip() {
        let check = |view: CharacteristicView, value: f64, place: f64| {
            let strip = Strip::of(&view).unwrap();
            assert!((strip.place(value) - place).abs() < 1e-9, "{view:?}: {}", strip.place(value));
        };
        let both = view(Some(57.5), Some(58.5), Some(58.0), Some(58.2));
        check(both.clone(), 57.5, 0.25);
        check(both.clone(), 58.0, 0.5);
        check(both, 58.5, 0.75);
        // An uneven band keeps its target where it is.
        check(view(Some(1141.4), Some(1143.0), Some(1143.0), None), 1143.0, 0.75);
        check(view(None, Some(330.0), None, Some(321.0)), 330.0, 0.75);
        check(view(Some(40.0), None, None, None), 40.0, 0.25);
        check(view(None, None, Some(0.0), None), 0.0, 0.5);
        assert_eq!(Strip::of(&view(None, None, None, Some(3.0))), None);
        // With one limit the strip stretches so far that the value is on it.
        let far = view(None, Some(330.0), None, Some(200.0));
        assert!((0.0..=1.0).contains(&Strip::of(&far).unwrap().place(200.0)));
    }
}
