//! The language of a request: chosen by a cookie of the display, else what the browser asks for.
//!
//! A page names the file with the messages of its language, which its scripts need ([`super::bundle`]).

use axum::http::{HeaderMap, header};

use crate::output::language::Language;

/// The cookie that keeps a display's choice.
const COOKIE: &str = "bench-language";

tokio::task_local! {
    /// The language of the request that is being answered.
    static CURRENT: Language;
}

/// The language of the request that is being answered; English outside of one.
pub(super) fn current() -> Language {
    CURRENT.try_with(|language| *language).unwrap_or(Language::English)
}

/// Answers a request in a language.
pub(super) async fn during<F: Future>(language: Language, answer: F) -> F::Output {
    CURRENT.scope(language, answer).await
}

/// What the display chose, else the first language of the browser that is spoken here.
pub(super) fn of(headers: &HeaderMap) -> Language {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let chosen = text(header::COOKIE).split(';').filter_map(|pair| pair.trim().split_once('='));
    let chosen = chosen.filter(|(name, _)| *name == COOKIE).find_map(|(_, tag)| Language::by_tag(tag));
    let asked = || text(header::ACCEPT_LANGUAGE).split(',').find_map(Language::by_tag);
    chosen.or_else(asked).unwrap_or(Language::English)
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    #[test]
    fn a_display_chooses_and_else_the_browser_is_asked() {
        let of = |cookie: &str, accept: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::COOKIE, HeaderValue::from_str(cookie).unwrap());
            headers.insert(header::ACCEPT_LANGUAGE, HeaderValue::from_str(accept).unwrap());
            of(&headers).tag()
        };
        assert_eq!(of("", ""), "en");
        assert_eq!(of("", "de-AT,de;q=0.9,en;q=0.8"), "de");
        assert_eq!(of("", "fr, en-GB;q=0.8, de;q=0.7"), "en");
        assert_eq!(of("a=b; bench-language=de", "en"), "de");
        assert_eq!(of("bench-language=xx", "de"), "de");
    }
}
