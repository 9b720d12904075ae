//! The letters of a sheet: which font draws which character, and how wide a text is.
//!
//! Whatever people type comes out: a character that no font draws, or that would not be seen, becomes [`STAND_IN`].

use std::cell::Cell;

use krilla::Data;
use krilla::text::Font;
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider as _};

/// Stands where a character cannot be drawn.
pub(super) const STAND_IN: char = '\u{25a1}';
/// What a text that is too long ends with.
const ELLIPSIS: &str = "\u{2026}";

/// How heavy the letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    /// For reading.
    Regular,
    /// For what is seen from afar.
    Bold,
    /// Equal widths, for codes.
    Mono,
}

/// A font that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the font cannot be read: it must be a TrueType or OpenType file with outlines")]
pub struct FontError;

/// One font file.
struct Face {
    font: Font,
    bytes: Data,
}

impl Face {
    fn new(bytes: Data) -> Option<Self> {
        let font = Font::new(bytes.clone(), 0)?;
        let face = Self { font, bytes };
        face.metrics()?;
        Some(face)
    }

    fn metrics(&self) -> Option<FontRef<'_>> {
        FontRef::from_index(self.bytes.as_ref(), 0).ok()
    }
}

/// A piece of text that one font draws.
pub(super) struct Run {
    pub(super) font: Font,
    pub(super) text: String,
    /// Width at one point of size, in points.
    pub(super) width: f64,
}

/// The fonts of one document.
pub(super) struct Fonts {
    regular: Face,
    bold: Face,
    mono: Face,
    further: Option<Face>,
    stood_in: Cell<bool>,
}

impl Fonts {
    /// The fonts that come with the program, and a further one for characters that they do not draw.
    pub(super) fn new(further: Option<&[u8]>) -> Result<Self, FontError> {
        let own = |bytes: &'static [u8]| Face::new(Data::from(bytes)).ok_or(FontError);
        let further = further.map(|bytes| Face::new(Data::from(bytes.to_vec())).ok_or(FontError)).transpose()?;
        Ok(Self {
            regular: own(dejavu::sans_condensed::regular())?,
            bold: own(dejavu::sans_condensed::bold())?,
            mono: own(dejavu::sans_mono::regular())?,
            further,
            stood_in: Cell::new(false),
        })
    }

    /// Whether any character had to be replaced so far.
    pub(super) fn stood_in(&self) -> bool {
        self.stood_in.get()
    }

    fn face(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
            Weight::Mono => &self.mono,
        }
    }

    /// Text cut into pieces of one font each.
    pub(super) fn runs(&self, text: &str, weight: Weight) -> Vec<Run> {
        let faces: Vec<(&Face, FontRef<'_>)> = [Some(self.face(weight)), self.further.as_ref()]
            .into_iter()
            .flatten()
            .filter_map(|face| Some((face, face.metrics()?)))
            .collect();
        let mut runs: Vec<(usize, Run)> = Vec::new();
        for letter in text.chars() {
            let drawn_by = |letter: char| {
                let glyph = |font: &FontRef<'_>| font.charmap().map(letter).filter(|glyph| glyph.to_u32() != 0);
                faces.iter().enumerate().find_map(|(at, (_, font))| Some((at, glyph(font)?)))
            };
            let (letter, found) = match drawn_by(letter).filter(|_| is_seen(letter)) {
                Some(found) => (letter, Some(found)),
                None => {
                    self.stood_in.set(true);
                    (STAND_IN, drawn_by(STAND_IN))
                }
            };
            let Some((at, glyph)) = found else { continue };
            let Some((face, font)) = faces.get(at) else { continue };
            let metrics = font.glyph_metrics(Size::new(1.0), LocationRef::default());
            let width = f64::from(metrics.advance_width(glyph).unwrap_or_default());
            match runs.last_mut().filter(|(of, _)| *of == at) {
                Some((_, run)) => {
                    run.text.push(letter);
                    run.width += width;
                }
                None => runs.push((at, Run { font: face.font.clone(), text: letter.to_string(), width })),
            }
        }
        runs.into_iter().map(|(_, run)| run).collect()
    }

    /// Width of a text, in points.
    pub(super) fn width(&self, text: &str, weight: Weight, size: f64) -> f64 {
        self.runs(text, weight).iter().map(|run| run.width).sum::<f64>() * size
    }

    /// The text, or as much of it as fits into `width` points, with an ellipsis then.
    pub(super) fn fitted(&self, text: &str, weight: Weight, size: f64, width: f64) -> String {
        if self.width(text, weight, size) <= width {
            return text.to_owned();
        }
        let mut letters: Vec<char> = text.chars().collect();
        while letters.pop().is_some() {
            let shorter: String = letters.iter().collect::<String>().trim_end().to_owned() + ELLIPSIS;
            if self.width(&shorter, weight, size) <= width {
                return shorter;
            }
        }
        ELLIPSIS.to_owned()
    }

    /// The text in lines of at most `width` points, broken at blanks where there are any; the last of `most` lines is
    /// fitted.
    pub(super) fn wrapped(&self, text: &str, weight: Weight, size: f64, width: f64, most: usize) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        let mut rest: Vec<char> = text.trim().chars().collect();
        while !rest.is_empty() && lines.len() + 1 < most {
            let fits = (1..=rest.len())
                .take_while(|count| {
                    let line: String = rest.iter().take(*count).collect();
                    self.width(line.trim_end(), weight, size) <= width
                })
                .last()
                .unwrap_or(1);
            if fits == rest.len() {
                break;
            }
            let at_blank = rest.iter().take(fits + 1).rposition(|letter| *letter == ' ').filter(|at| *at > 0);
            let cut = at_blank.unwrap_or(fits);
            lines.push(rest.drain(..cut).collect::<String>().trim().to_owned());
            while rest.first() == Some(&' ') {
                rest.remove(0);
            }
        }
        if !rest.is_empty() {
            lines.push(self.fitted(&rest.iter().collect::<String>(), weight, size, width));
        }
        lines
    }
}

/// Control characters and marks that turn the direction of a text show nothing and can make one read wrongly.
fn is_seen(letter: char) -> bool {
    let turns =
        matches!(letter, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}');
    !letter.is_control() && !turns
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(text: &str) -> String {
        let fonts = Fonts::new(None).unwrap();
        fonts.runs(text, Weight::Regular).into_iter().map(|run| run.text).collect()
    }

    #[test]
    fn what_cannot_be_drawn_is_seen_to_be_missing() {
        assert_eq!(drawn("Jürgen Ørsted, Łódź, Ελένη, Юлия"), "Jürgen Ørsted, Łódź, Ελένη, Юлия");
        assert_eq!(drawn("王小明 K7"), "□□□ K7");
        assert_eq!(drawn("a\u{202e}b\nc\u{0}"), "a□b□c□");
        let fonts = Fonts::new(None).unwrap();
        assert!(!fonts.stood_in());
        fonts.runs("王", Weight::Bold);
        assert!(fonts.stood_in());
    }

    #[test]
    fn a_text_fits_where_it_stands() {
        let fonts = Fonts::new(None).unwrap();
        let long = "a name that goes on for much longer than any label is wide";
        let short = fonts.fitted(long, Weight::Bold, 10.0, 100.0);
        assert!(short.ends_with('…') && fonts.width(&short, Weight::Bold, 10.0) <= 100.0, "{short}");
        let lines = fonts.wrapped(long, Weight::Regular, 8.0, 80.0, 9);
        assert!(
            lines.len() > 2 && lines.iter().all(|line| fonts.width(line, Weight::Regular, 8.0) <= 80.0),
            "{lines:?}"
        );
        assert_eq!(lines.join(" "), long);
        let unbroken = "x".repeat(200);
        assert_eq!(fonts.wrapped(&unbroken, Weight::Regular, 8.0, 80.0, 99).concat(), unbroken);
        assert!(Fonts::new(Some(b"not a font")).is_err());
    }
}
