//! Shares the lines of a terminal among the parts of the view: the most important first, drawn in their order.
//!
//! A terminal of any size is drawn on; the smaller it is, the fewer parts. What was measured, its verdict and what is wrong are the
//! last to go.

use std::time::Duration;

use jiff::tz::TimeZone;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::Line;
use ratatui::widgets::Widget;
use tui_big_text::{BigText, PixelSize};

use super::known::Known;
use super::parts;
use crate::output::language::Language;

/// How the link to the daemon stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Nothing was heard yet.
    Opening,
    /// Messages come.
    Up,
    /// None come; why, in words.
    Lost(String),
}

/// The live view at one moment; drawing it changes nothing.
#[derive(Debug)]
pub struct View<'a> {
    /// What is known.
    pub known: &'a Known,
    /// How the link stands.
    pub link: &'a Link,
    /// Now, of the clock by which [`Known`] was told.
    pub now: Duration,
    /// In which language.
    pub language: Language,
    /// In which time zone.
    pub zone: &'a TimeZone,
}

impl View<'_> {
    pub(super) fn t(&self, key: &'static str) -> &'static str {
        self.language.word(key)
    }

    pub(super) fn with(&self, key: &str, values: &[(&str, &str)]) -> String {
        self.language.with(key, values)
    }

    pub(super) fn said(&self, english: &str) -> String {
        self.language.said(english)
    }

    pub(super) fn code(&self, code: &str) -> String {
        self.language.code(code)
    }
}

/// Rows of large digits.
const LARGE: u16 = 4;
/// The last rank of what is shown on the smallest terminal, if only in one line.
const ESSENTIAL: u8 = 3;
/// The rank at which digits become large.
const LARGE_DIGITS: u8 = 9;

/// Digits as large as there is room for, with what stands beside them.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Digits {
    pub(super) number: String,
    pub(super) unit: String,
    pub(super) style: Style,
}

/// What a part draws.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Content {
    Lines(Vec<Line<'static>>),
    Digits(Digits),
}

/// A part of the view. The smaller its rank, the later it goes when there is not enough room.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) rank: u8,
    pub(super) content: Content,
    /// Whether it may be cut to the lines that are left.
    pub(super) may_be_cut: bool,
    /// Whether it and what follows stand at the bottom.
    pub(super) at_bottom: bool,
}

impl Part {
    pub(super) fn lines(rank: u8, lines: Vec<Line<'static>>) -> Self {
        Self::new(rank, Content::Lines(lines))
    }

    pub(super) fn new(rank: u8, content: Content) -> Self {
        Self { rank, content, may_be_cut: true, at_bottom: false }
    }

    pub(super) fn whole(rank: u8, lines: Vec<Line<'static>>) -> Self {
        Self { may_be_cut: false, ..Self::lines(rank, lines) }
    }

    fn height(&self) -> u16 {
        match &self.content {
            Content::Lines(lines) => u16::try_from(lines.len()).unwrap_or(u16::MAX),
            Content::Digits(_) => LARGE,
        }
    }

    /// The fewest lines on which it is of use.
    fn least(&self) -> u16 {
        match self.content {
            Content::Digits(_) => 1,
            Content::Lines(_) if self.may_be_cut => self.height().min(1),
            Content::Lines(_) => self.height(),
        }
    }
}

impl Widget for View<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let parts = parts::parts(&self, area.width);
        let heights = share(&parts, area.height);
        let mut spare = area.height - heights.iter().sum::<u16>();
        let mut top = area.y;
        for (part, height) in parts.iter().zip(heights) {
            // What is left over stands above the part that belongs at the bottom.
            if part.at_bottom {
                top += std::mem::take(&mut spare);
            }
            let place = Rect { y: top, height, ..area };
            match &part.content {
                Content::Lines(lines) => {
                    for (line, y) in lines.iter().zip(place.y..place.bottom()) {
                        line.render(Rect { y, height: 1, ..place }, buffer);
                    }
                    if height > 0 && usize::from(height) < lines.len() && area.width > 0 {
                        // Something follows that has no room: nobody should take half a caution for all of it.
                        Line::raw("…")
                            .render(Rect { x: area.right() - 1, y: place.bottom() - 1, width: 1, height: 1 }, buffer);
                    }
                }
                Content::Digits(digits) => draw_digits(digits, place, buffer),
            }
            top += height;
        }
    }
}

/// The height of each part. First what every essential part needs to be of use, then, in the order of the ranks, each all of what it
/// wants while there is room.
fn share(parts: &[Part], height: u16) -> Vec<u16> {
    let mut wishes: Vec<(u8, usize, u16)> = Vec::new();
    for (index, part) in parts.iter().enumerate() {
        if part.rank <= ESSENTIAL {
            // Below all ranks, in their order.
            wishes.push((0, index, part.least()));
        }
        let rank = if matches!(part.content, Content::Digits(_)) { LARGE_DIGITS } else { part.rank };
        wishes.push((rank + 1, index, part.height()));
    }
    wishes.sort_by_key(|(rank, index, _)| (*rank, parts.get(*index).map(|part| part.rank)));
    let mut heights = vec![0; parts.len()];
    let mut left = height;
    for (_, index, wanted) in wishes {
        let (Some(part), Some(given)) = (parts.get(index), heights.get_mut(index)) else { continue };
        let more = wanted.saturating_sub(*given);
        // Nothing of it would be of use, or digits would be neither small nor large.
        let is_useless = *given == 0 && part.least() > left;
        let is_torn = matches!(part.content, Content::Digits(_)) && more > left;
        if !is_useless && !is_torn {
            let more = more.min(left);
            *given += more;
            left -= more;
        }
    }
    heights
}

/// Large digits where they fit, the unit beside them; one bold line where they do not.
fn draw_digits(digits: &Digits, area: Rect, buffer: &mut Buffer) {
    // The digits' font has neither minus sign nor dash of its own.
    let number = digits.number.replace(['\u{2212}', '–'], "-");
    let (count, unit) = (number.chars().count(), digits.unit.chars().count() + 1);
    let sizes = [(PixelSize::HalfHeight, 8), (PixelSize::Quadrant, 4)];
    let fits = sizes.into_iter().find(|(_, width)| width * count + unit <= usize::from(area.width));
    match fits {
        Some((pixel_size, width)) if area.height >= LARGE => {
            BigText::builder()
                .pixel_size(pixel_size)
                .style(digits.style)
                .lines(vec![Line::from(number)])
                .build()
                .render(Rect { height: LARGE, ..area }, buffer);
            let x = area.x + u16::try_from(width * count).unwrap_or(0) + 1;
            let place = Rect { x, y: area.y + LARGE - 2, width: area.right().saturating_sub(x), height: 1 };
            Line::styled(digits.unit.clone(), digits.style).render(place, buffer);
        }
        _ => Line::styled(format!("{} {}", digits.number, digits.unit), digits.style).render(area, buffer),
    }
}
