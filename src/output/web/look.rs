//! How a display looks before its scripts run: day or night, and the sizes that were measured on its screen.
//!
//! In: the cookies of a request, as `preferences.js` writes them. Out: attributes and a style sheet for the page. The scripts work both out again
//! and correct what no longer holds, so nothing here decides more than the first picture.

use axum::http::{HeaderMap, header};

/// Longest size that is believed, in pixels of the page.
const LONGEST_PX: f64 = 10_000.0;

tokio::task_local! {
    /// The look of the display that asks.
    static CURRENT: Look;
}

/// What a display has chosen and measured.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Look {
    palette: Option<&'static str>,
    sizes: Option<Sizes>,
}

/// What `screen.js` worked out, in pixels of the page.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sizes {
    mm: f64,
    label: f64,
    digit: f64,
    touch: f64,
    reading: &'static str,
}

/// The look of the display whose request is being answered; nothing chosen outside of one.
pub(super) fn current() -> Look {
    CURRENT.try_with(|look| *look).unwrap_or_default()
}

/// Answers a request for a display that looks so.
pub(super) async fn during<F: Future>(look: Look, answer: F) -> F::Output {
    CURRENT.scope(look, answer).await
}

impl Look {
    /// What the cookies of a request say. What cannot be read counts as not said.
    pub(super) fn of(headers: &HeaderMap) -> Self {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut look = Self::default();
        for (name, value) in cookies.flat_map(|all| all.split(';')).filter_map(|pair| pair.trim().split_once('=')) {
            match name {
                "bench-palette" => look.palette = one_of(value, ["day", "night"]),
                "bench-sizes" => look.sizes = Sizes::parse(value),
                _ => {}
            }
        }
        look
    }

    /// `day` or `night`; none where the system decides.
    pub(super) const fn palette(&self) -> Option<&'static str> {
        self.palette
    }

    /// `near` or `far`; none where the screen was not measured.
    pub(super) fn reading(&self) -> Option<&'static str> {
        self.sizes.map(|sizes| sizes.reading)
    }

    /// The sizes as a style sheet; none where the screen was not measured.
    pub(super) fn style(&self) -> Option<String> {
        self.sizes.map(|Sizes { mm, label, digit, touch, .. }| {
            format!(":root {{ --mm: {mm:.3}px; --label: {label:.1}px; --digit: {digit:.1}px; --touch: {touch:.1}px; }}")
        })
    }
}

impl Sizes {
    /// Such as `5.940_32.1_64.2_118.8_far`: a millimetre, a label's, a digit's and a button's size, and how it is read.
    fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('_');
        let mut size = || {
            let size: f64 = parts.next()?.parse().ok()?;
            (size.is_finite() && size > 0.0 && size < LONGEST_PX).then_some(size)
        };
        let (mm, label, digit, touch) = (size()?, size()?, size()?, size()?);
        let reading = one_of(parts.next()?, ["near", "far"])?;
        parts.next().is_none().then_some(Self { mm, label, digit, touch, reading })
    }
}

fn one_of(value: &str, known: [&'static str; 2]) -> Option<&'static str> {
    known.into_iter().find(|known| *known == value)
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    fn of(cookie: &str) -> Look {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_str(cookie).unwrap());
        Look::of(&headers)
    }

    #[test]
    fn a_display_is_told_its_look_and_nothing_else_gets_into_the_page() {
        let look = of("a=b; bench-palette=night; bench-sizes=5.940_32.1_64.2_118.8_far");
        assert_eq!((look.palette(), look.reading()), (Some("night"), Some("far")));
        assert_eq!(
            look.style().as_deref(),
            Some(":root { --mm: 5.940px; --label: 32.1px; --digit: 64.2px; --touch: 118.8px; }")
        );
        for strange in [
            "bench-palette=\"><script>",
            "bench-sizes=",
            "bench-sizes=1_2_3_far",
            "bench-sizes=1_2_3_4_far_5",
            "bench-sizes=1_2_3_4_</style>",
            "bench-sizes=1_2_3_nan_far",
            "bench-sizes=1_2_3_inf_far",
            "bench-sizes=1_2_3_-4_near",
            "bench-sizes=1_2_3_1e9_near",
        ] {
            assert_eq!(of(strange), Look::default(), "{strange}");
        }
    }
}
