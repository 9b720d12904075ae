//! Who may ask: known hosts only, and writing only from this machine or with the bench's token.
//!
//! A page on the internet can make a browser call us; comparing the Host with names we know stops it (DNS
//! rebinding), and a write whose Origin is another page is refused.

use std::net::{IpAddr, SocketAddr};

use axum::body::to_bytes;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use sha2::{Digest as _, Sha256};

use super::Web;
use super::api::problem;
use super::look::Look;
use super::units::{self, Units};
use super::{language, look, zone};

const POLICY: &str = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'";

/// The policy of a page with style sheets and a script written into it: these texts and no others.
pub(super) fn policy_with(styles: &[&str], script: &str) -> String {
    let hash = |text: &&str| format!(" 'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text.as_bytes())));
    let styles: String = styles.iter().map(hash).collect();
    format!("{POLICY}; style-src 'self'{styles}; script-src 'self'{}", hash(&script))
}

/// Lets a request through or answers with a problem.
pub(super) async fn guard(
    State(web): State<Web>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    if let Err(refusal) = check(&web, peer, request.method(), request.headers()) {
        return *refusal;
    }
    let (chosen, look) = (language::of(request.headers()), Look::of(request.headers()));
    let shown = units::during(Units::of(request.headers()), next.run(request));
    let answer = look::during(look, language::during(chosen, shown));
    let mut response = as_problem(zone::during(web.zone.clone(), answer).await).await;
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
    ] {
        // A page that has texts of its own written into it has said which.
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    response
}

/// Longest refusal that is put in words, in bytes.
const LONGEST_REFUSAL: usize = 4096;

/// What the server itself refuses, such as a query that cannot be read, is a problem like every other error.
async fn as_problem(response: Response) -> Response {
    let is_plain =
        response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/plain"));
    if !response.status().is_client_error() || !is_plain {
        return response;
    }
    let status = response.status();
    let words = to_bytes(response.into_body(), LONGEST_REFUSAL).await.unwrap_or_default();
    problem(status, "not a request that is served here", &String::from_utf8_lossy(&words))
}

fn check(web: &Web, peer: SocketAddr, method: &Method, headers: &HeaderMap) -> Result<(), Box<Response>> {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    let host = text(header::HOST).unwrap_or_default();
    if !host_is_known(host, &web.hosts) {
        return Err(Box::new(problem(
            StatusCode::MISDIRECTED_REQUEST,
            "unknown host",
            &format!(
                "this bench is not known as \"{host}\"; add the name to `hosts` under [http] in its configuration"
            ),
        )));
    }
    if method == Method::GET || method == Method::HEAD {
        return Ok(());
    }
    let from_elsewhere = text(header::ORIGIN).is_some_and(|origin| origin_host(origin) != Some(host))
        || text(header::HeaderName::from_static("sec-fetch-site")).is_some_and(|site| site == "cross-site");
    if from_elsewhere {
        return Err(Box::new(problem(
            StatusCode::FORBIDDEN,
            "another page asked",
            "commands are taken from the bench's own pages only",
        )));
    }
    let token = text(header::AUTHORIZATION).and_then(|value| value.strip_prefix("Bearer "));
    let token_is_right = token.is_some_and(|token| same(token.as_bytes(), web.token.as_bytes()));
    if !peer.ip().to_canonical().is_loopback() && !token_is_right {
        return Err(Box::new(problem(
            StatusCode::UNAUTHORIZED,
            "token needed",
            "commands from another machine need the bench token; it stands in the file bench.token of the data folder",
        )));
    }
    Ok(())
}

/// Compares without telling by its duration how much was right.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}

fn origin_host(origin: &str) -> Option<&str> {
    origin.split_once("://").map(|(_, host)| host)
}

/// IP addresses, `localhost` and `.local` names cannot be taken over by a stranger's name server; others are listed.
fn host_is_known(host: &str, listed: &[String]) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split_once(']').map_or("", |(name, _)| name),
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    let name = name.trim_end_matches('.').to_ascii_lowercase();
    name.parse::<IpAddr>().is_ok()
        || name == "localhost"
        || std::path::Path::new(&name).extension().is_some_and(|ending| ending == "local")
        || listed.iter().any(|listed| listed.eq_ignore_ascii_case(&name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_hosts_that_no_stranger_can_point_here_are_known() {
        let listed = ["bench.shop.example".to_owned()];
        for host in
            ["127.0.0.1:7311", "localhost", "LOCALHOST:80", "[::1]:7311", "trailer.local:7311", "bench.shop.example"]
        {
            assert!(host_is_known(host, &listed), "{host}");
        }
        for host in ["", "evil.example", "localhost.evil.example", "127.0.0.1.evil.example", "local", "xlocal:1"] {
            assert!(!host_is_known(host, &listed), "{host}");
        }
    }
}
