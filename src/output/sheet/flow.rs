//! What stands on a page line by line, and goes on on further pages where there is no room: rows of tables and sentences.
//!
//! Blocks come in, pages of lines leave. Nothing is left out and nothing is cut: a text takes as many lines as it needs.

use super::canvas::{At, Canvas, Ink, POINTS_PER_MM, Style};
use super::fonts::Fonts;

/// Size of the text, in points.
pub(super) const SIZE: f64 = 7.4;
/// From one base line to the next, in millimetres.
const LEADING: f64 = SIZE * 1.28 / POINTS_PER_MM;
/// Free space between two columns, in millimetres.
const GAP: f64 = 1.8;
/// Height of the names of the columns with the line below them, in millimetres.
const HEAD: f64 = 5.4;
/// Space behind a row of a table, in millimetres.
const BEHIND_ROW: f64 = 0.7;
/// Space behind a table, in millimetres.
const BEHIND_TABLE: f64 = 2.4;
/// The most lines of one text; a longer one is a mistake of whoever wrote it.
const MOST_LINES: usize = 60;

/// A column of a table: its name and its share of the width.
pub(super) type Column = (&'static str, f64);

/// Something that stands on a page.
#[derive(Debug, Clone)]
pub(super) enum Block {
    /// A row of a table, a text a column; rows of the same columns that follow each other are one table.
    Row {
        /// The columns.
        columns: &'static [Column],
        /// The texts.
        cells: Vec<String>,
    },
    /// Words.
    Words {
        /// The text.
        text: String,
        /// Whether they weigh.
        bold: bool,
        /// In which colour.
        ink: Ink,
    },
}

impl Block {
    /// Words to read.
    pub(super) fn words(text: impl Into<String>) -> Self {
        Self::Words { text: text.into(), bold: false, ink: Ink::Black }
    }

    /// Words that must not be overlooked.
    pub(super) fn bold(text: impl Into<String>) -> Self {
        Self::Words { text: text.into(), bold: true, ink: Ink::Black }
    }

    /// Words that explain.
    pub(super) fn grey(text: impl Into<String>) -> Self {
        Self::Words { text: text.into(), bold: false, ink: Ink::Grey }
    }
}

/// Lines that stay together on a page.
#[derive(Debug, Clone)]
enum Piece {
    Row { columns: &'static [Column], cells: Vec<Vec<String>> },
    Line { text: String, style: Style },
}

/// What is to be placed, cut into lines of a width in millimetres.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    pieces: Vec<Piece>,
}

/// What of it stands on one page.
#[derive(Debug, Clone, Default)]
pub(super) struct Part(Vec<Piece>);

/// Heights are added in another order where room is made for them: less than this, in millimetres, is no height.
const BIT: f64 = 0.01;

impl Flow {
    /// Cuts blocks into lines.
    pub(super) fn new(fonts: &Fonts, width: f64, blocks: Vec<Block>) -> Self {
        let wrapped = |text: &str, style: Style, width: f64| {
            fonts.wrapped(text, style.weight, style.size, width * POINTS_PER_MM, MOST_LINES)
        };
        let pieces = blocks.into_iter().flat_map(|block| match block {
            Block::Row { columns, cells } => {
                let cell = |((_, share), text): (&Column, &String)| wrapped(text, text_style(), share * width - GAP);
                let cells = columns.iter().zip(&cells).map(cell).collect();
                vec![Piece::Row { columns, cells }]
            }
            Block::Words { text, bold, ink } => {
                let style = if bold { text_style().bold() } else { text_style() }.ink(ink);
                wrapped(&text, style, width).into_iter().map(|text| Piece::Line { text, style }).collect()
            }
        });
        Self { pieces: pieces.collect() }
    }

    /// How much of a page it takes in one piece, in millimetres.
    pub(super) fn height(&self) -> f64 {
        heights(&self.pieces).sum()
    }

    /// Lays it on pages with so much room on the first and on each further one, in millimetres; the first is there always.
    pub(super) fn pages(self, first: f64, further: f64) -> Vec<Part> {
        let mut pages = vec![Part::default()];
        for piece in self.pieces {
            let room = if pages.len() == 1 { first } else { further };
            let is_full = pages.last().is_some_and(|page| {
                let with: Vec<Piece> = page.0.iter().cloned().chain([piece.clone()]).collect();
                heights(&with).sum::<f64>() > room + BIT
            });
            // What is higher than a whole page stands there alone.
            let is_fresh = pages.len() > 1 && pages.last().is_some_and(|page| page.0.is_empty());
            if is_full && !is_fresh {
                pages.push(Part::default());
            }
            if let Some(page) = pages.last_mut() {
                page.0.push(piece);
            }
        }
        pages
    }
}

impl Part {
    /// How high it is, in millimetres.
    pub(super) fn height(&self) -> f64 {
        heights(&self.0).sum()
    }

    /// Adds all of a flow behind it.
    pub(super) fn add(&mut self, flow: Flow) {
        self.0.extend(flow.pieces);
    }

    /// Draws it below a place.
    pub(super) fn draw(&self, canvas: &mut Canvas<'_>, at: At, width: f64) {
        let (left, mut y) = at;
        for (index, piece) in self.0.iter().enumerate() {
            let bottom = y + height(&self.0, index);
            if let Piece::Row { columns, .. } = piece
                && begins(&self.0, index)
            {
                head(canvas, (left, y), width, columns);
                y += HEAD;
            }
            let base = y + LEADING * 0.75;
            match piece {
                Piece::Line { text, style } => canvas.text((left, base), text, *style),
                Piece::Row { columns, cells } => {
                    for (x, lines) in places(left, width, columns).zip(cells) {
                        let mut base = base;
                        for line in lines {
                            canvas.text((x, base), line, text_style());
                            base += LEADING;
                        }
                    }
                }
            }
            y = bottom;
        }
    }
}

fn text_style() -> Style {
    Style::of(SIZE)
}

fn places(left: f64, width: f64, columns: &'static [Column]) -> impl Iterator<Item = f64> {
    let before = |at: usize| columns.iter().take(at).map(|(_, share)| share).sum::<f64>();
    (0..columns.len()).map(move |at| left + width * before(at))
}

fn head(canvas: &mut Canvas<'_>, at: At, width: f64, columns: &'static [Column]) {
    let (left, y) = at;
    for (x, (name, _)) in places(left, width, columns).zip(columns) {
        canvas.text((x, y + 2.6), name, Style::of(6.8).ink(Ink::Grey));
    }
    canvas.line((left, y + 3.8), (left + width, y + 3.8), 0.2, Ink::Line);
}

/// Whether a table begins at a piece of a page.
fn begins(pieces: &[Piece], index: usize) -> bool {
    let columns = |at: usize| match pieces.get(at) {
        Some(Piece::Row { columns, .. }) => Some(columns.as_ptr()),
        _ => None,
    };
    columns(index).is_some() && (index == 0 || columns(index - 1) != columns(index))
}

fn height(pieces: &[Piece], index: usize) -> f64 {
    let lines = |count: usize| LEADING * f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    match pieces.get(index) {
        None => 0.0,
        Some(Piece::Line { .. }) => LEADING,
        Some(Piece::Row { cells, .. }) => {
            let before = if begins(pieces, index) { HEAD } else { 0.0 };
            let goes_on = matches!(pieces.get(index + 1), Some(Piece::Row { .. })) && !begins(pieces, index + 1);
            let behind = if goes_on { BEHIND_ROW } else { BEHIND_TABLE };
            before + lines(cells.iter().map(Vec::len).max().unwrap_or(1).max(1)) + behind
        }
    }
}

fn heights(pieces: &[Piece]) -> impl Iterator<Item = f64> {
    (0..pieces.len()).map(|index| height(pieces, index))
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: [Column; 2] = [("one", 0.5), ("other", 0.5)];

    fn texts(part: &Part) -> Vec<String> {
        part.0
            .iter()
            .map(|piece| match piece {
                Piece::Line { text, .. } => text.clone(),
                Piece::Row { cells, .. } => cells.iter().map(|lines| lines.join(" ")).collect::<Vec<_>>().join("|"),
            })
            .collect()
    }

    #[test]
    fn what_has_no_room_goes_on_on_further_pages_and_nothing_is_lost() {
        let fonts = Fonts::new(None).unwrap();
        let row = |n: usize| Block::Row { columns: &COLUMNS, cells: vec![format!("row {n}"), "x ".repeat(n * 20)] };
        let blocks: Vec<Block> =
            (1..=8).map(row).chain([Block::words("word ".repeat(90)), Block::bold("end")]).collect();
        let whole = Flow::new(&fonts, 100.0, blocks.clone()).pages(1e6, 1e6);
        assert_eq!(whole.len(), 1);
        for (first, further) in [(0.0, 60.0), (20.0, 45.0), (35.0, 200.0)] {
            let pages = Flow::new(&fonts, 100.0, blocks.clone()).pages(first, further);
            assert!(pages.len() > 1 && (first > 0.0 || texts(&pages[0]).is_empty()), "{first}");
            assert_eq!(pages.iter().flat_map(texts).collect::<Vec<_>>(), texts(&whole[0]));
            assert!(pages[0].height() <= first && pages.iter().skip(1).all(|page| page.height() <= further));
        }
    }

    #[test]
    fn a_table_has_the_names_of_its_columns_on_every_page() {
        let fonts = Fonts::new(None).unwrap();
        let rows = vec![Block::Row { columns: &COLUMNS, cells: vec!["a".into(), "b".into()] }; 2];
        let one = Flow::new(&fonts, 100.0, rows.clone());
        let together = one.height();
        let apart: f64 = one.pages(HEAD + LEADING + BEHIND_TABLE, 20.0).iter().map(Part::height).sum();
        assert!((apart - together - HEAD - (BEHIND_TABLE - BEHIND_ROW)).abs() < 1e-9, "{apart} {together}");
    }
}
