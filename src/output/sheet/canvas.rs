//! A page to draw on, in millimetres from its upper left corner.

use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::TextDirection;
use qrcode::{Color as Module, EcLevel, QrCode};

use super::fonts::{Fonts, Weight};

/// Points of a printer in a millimetre.
pub(super) const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// The smallest size that a text is made in to fit, in points (common practice, no source).
const LEAST_PT: f64 = 6.0;

/// The few colours there are. Each difference that matters is also one of shape or of words: sheets are printed in grey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ink {
    /// Text and marks.
    Black,
    /// What explains.
    Grey,
    /// Hairlines.
    Line,
    /// A field where a value should be.
    Band,
    /// The band of a row.
    Row,
    /// Out of its limits.
    Alarm,
    /// On black.
    White,
}

impl Ink {
    fn paint(self) -> rgb::Color {
        match self {
            Self::Black => rgb::Color::new(20, 24, 28),
            Self::Grey => rgb::Color::new(96, 103, 110),
            Self::Line => rgb::Color::new(178, 184, 190),
            Self::Band => rgb::Color::new(196, 222, 208),
            Self::Row => rgb::Color::new(243, 245, 246),
            Self::Alarm => rgb::Color::new(186, 32, 32),
            Self::White => rgb::Color::new(255, 255, 255),
        }
    }
}

/// Where a text stands from its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Align {
    /// It begins there.
    Left,
    /// Its middle is there.
    Centre,
    /// It ends there.
    Right,
}

/// How a text looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    /// Size in points.
    pub(super) size: f64,
    /// Heaviness.
    pub(super) weight: Weight,
    /// Colour.
    pub(super) ink: Ink,
    /// Where it stands.
    pub(super) align: Align,
}

impl Style {
    /// Text for reading.
    pub(super) const fn of(size: f64) -> Self {
        Self { size, weight: Weight::Regular, ink: Ink::Black, align: Align::Left }
    }

    /// Heavier.
    pub(super) const fn bold(self) -> Self {
        Self { weight: Weight::Bold, ..self }
    }

    /// Of equal widths.
    pub(super) const fn mono(self) -> Self {
        Self { weight: Weight::Mono, ..self }
    }

    /// In another colour.
    pub(super) const fn ink(self, ink: Ink) -> Self {
        Self { ink, ..self }
    }

    /// Standing otherwise.
    pub(super) const fn align(self, align: Align) -> Self {
        Self { align, ..self }
    }
}

/// A place in millimetres: from the left, from the top.
pub(super) type At = (f64, f64);

/// A page.
pub(super) struct Canvas<'a> {
    surface: Surface<'a>,
    fonts: &'a Fonts,
}

#[expect(clippy::cast_possible_truncation, reason = "places on a page need no more digits than a PDF has")]
fn pt(mm: f64) -> f32 {
    (mm * POINTS_PER_MM) as f32
}

impl<'a> Canvas<'a> {
    pub(super) fn new(surface: Surface<'a>, fonts: &'a Fonts) -> Self {
        Self { surface, fonts }
    }

    /// Whether a character of the document had to be replaced so far.
    pub(super) fn stood_in(&self) -> bool {
        self.fonts.stood_in()
    }

    /// Width of a text in millimetres.
    pub(super) fn width(&self, text: &str, style: Style) -> f64 {
        self.fonts.width(text, style.weight, style.size) / POINTS_PER_MM
    }

    /// A text on its base line.
    pub(super) fn text(&mut self, at: At, text: &str, style: Style) {
        let runs = self.fonts.runs(text, style.weight);
        let width: f64 = runs.iter().map(|run| run.width).sum::<f64>() * style.size / POINTS_PER_MM;
        let mut x = match style.align {
            Align::Left => at.0,
            Align::Centre => at.0 - width / 2.0,
            Align::Right => at.0 - width,
        };
        self.fill(style.ink);
        for run in runs {
            let place = Point::from_xy(pt(x), pt(at.1));
            let size = pt(style.size / POINTS_PER_MM);
            self.surface.draw_text(place, run.font, size, &run.text, false, TextDirection::Auto);
            x += run.width * style.size / POINTS_PER_MM;
        }
    }

    /// A text within a width in millimetres: smaller where it is too long, in two lines about its base line where that is not
    /// enough, and cut only then.
    pub(super) fn text_whole(&mut self, at: At, width: f64, text: &str, style: Style) {
        let style = self.small_enough(width, text, style);
        let room = width * POINTS_PER_MM;
        let lines = self.fonts.wrapped(text, style.weight, style.size, room, 2);
        let leading = style.size * 1.12 / POINTS_PER_MM;
        let from = at.1 - if lines.len() > 1 { 0.5 * leading } else { 0.0 };
        for (line, y) in lines.iter().zip([from, from + leading]) {
            self.text((at.0, y), line, style);
        }
    }

    /// The style, or a smaller one with which a text is not too wide; at the smallest size that is read well it stays as it is.
    fn small_enough(&self, width: f64, text: &str, style: Style) -> Style {
        let smaller = |part: f64| Style { size: (style.size * part).max(LEAST_PT.min(style.size)), ..style };
        let fits = |style: &Style| self.width(text, *style) <= width;
        [1.0, 0.92, 0.84].map(smaller).into_iter().find(fits).unwrap_or_else(|| smaller(0.76))
    }

    /// A text within a width in millimetres: smaller where it is too long, and cut where that is not enough.
    pub(super) fn text_within(&mut self, at: At, width: f64, text: &str, style: Style) {
        let style = self.small_enough(width, text, style);
        let fitted = self.fonts.fitted(text, style.weight, style.size, width * POINTS_PER_MM);
        self.text(at, &fitted, style);
    }

    /// A text in lines; gives the base line after the last one.
    pub(super) fn paragraph(&mut self, at: At, width: f64, most: usize, text: &str, style: Style) -> f64 {
        let leading = style.size * 1.28 / POINTS_PER_MM;
        let mut y = at.1;
        for line in self.fonts.wrapped(text, style.weight, style.size, width * POINTS_PER_MM, most) {
            self.text((at.0, y), &line, style);
            y += leading;
        }
        y
    }

    /// A straight line.
    pub(super) fn line(&mut self, from: At, to: At, width: f64, ink: Ink) {
        self.stroke(&[from, to], false, width, ink, None);
    }

    /// A dashed line.
    pub(super) fn dashed(&mut self, from: At, to: At, width: f64, ink: Ink) {
        self.stroke(&[from, to], false, width, ink, Some((1.6, 1.0)));
    }

    /// A closed outline.
    pub(super) fn outline(&mut self, corners: &[At], width: f64, ink: Ink) {
        self.stroke(corners, true, width, ink, None);
    }

    /// A line through points.
    pub(super) fn polyline(&mut self, points: &[At], width: f64, ink: Ink) {
        self.stroke(points, false, width, ink, None);
    }

    fn stroke(&mut self, points: &[At], closed: bool, width: f64, ink: Ink, dash: Option<(f64, f64)>) {
        let dash = dash.map(|(on, off)| StrokeDash { array: vec![pt(on), pt(off)], offset: 0.0 });
        let stroke = Stroke { paint: ink.paint().into(), width: pt(width), dash, ..Stroke::default() };
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(stroke));
        self.path(points, closed);
        self.surface.set_stroke(None);
    }

    /// A filled shape.
    pub(super) fn shape(&mut self, corners: &[At], ink: Ink) {
        self.fill(ink);
        self.path(corners, true);
    }

    /// A filled rectangle; one without extent is not drawn.
    pub(super) fn rectangle(&mut self, at: At, size: At, ink: Ink) {
        let (x, y) = at;
        let (width, height) = size;
        self.shape(&[at, (x + width, y), (x + width, y + height), (x, y + height)], ink);
    }

    fn path(&mut self, points: &[At], closed: bool) {
        let mut builder = PathBuilder::new();
        let mut points = points.iter();
        let Some((x, y)) = points.next() else { return };
        builder.move_to(pt(*x), pt(*y));
        for (x, y) in points {
            builder.line_to(pt(*x), pt(*y));
        }
        if closed {
            builder.close();
        }
        // A path without extent is none.
        if let Some(path) = builder.finish() {
            self.surface.draw_path(&path);
        }
    }

    fn fill(&mut self, ink: Ink) {
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(Fill { paint: ink.paint().into(), ..Fill::default() }));
    }

    /// A matrix code (ISO/IEC 18004) of `side` millimetres with its quiet zone of four modules around; a text that is
    /// too long for one is not drawn.
    pub(super) fn matrix_code(&mut self, at: At, side: f64, text: &str) {
        let Ok(code) = QrCode::with_error_correction_level(text, EcLevel::M) else { return };
        let modules = code.width();
        let count = f64::from(u16::try_from(modules + 8).unwrap_or(u16::MAX));
        let module = side / count;
        self.fill(Ink::Black);
        let mut builder = PathBuilder::new();
        for (row, colors) in code.to_colors().chunks(modules).enumerate() {
            for (column, _) in colors.iter().enumerate().filter(|(_, color)| **color == Module::Dark) {
                let place = |index: usize| f64::from(u16::try_from(index + 4).unwrap_or_default()) * module;
                let (x, y) = (at.0 + place(column), at.1 + place(row));
                // A hair wider than a module, so that no white line is left between two.
                let rect = Rect::from_xywh(pt(x), pt(y), pt(module * 1.01), pt(module * 1.01));
                if let Some(rect) = rect {
                    builder.push_rect(rect);
                }
            }
        }
        if let Some(path) = builder.finish() {
            self.surface.draw_path(&path);
        }
    }
}
