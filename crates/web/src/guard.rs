//! Who may ask and who may write, and the headers every answer carries.

use std::net::IpAddr;

use axum::{
    extract::{Request, State},
    http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};

use crate::state::AppState;

/// Nothing from elsewhere, nothing inline, in nobody's frame.
pub(crate) const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; font-src 'self'; \
     img-src 'self' data:; form-action 'self'; connect-src 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Headers of every answer. `same-origin`, not `no-referrer`: under the latter a form posts `Origin: null`.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
];

/// Lets a request through if it was meant for this server, and seals the answer.
pub(crate) async fn guard(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let mut response = match check(&request, state.bound) {
        Ok(()) => next.run(request).await,
        Err(refusal) => (StatusCode::FORBIDDEN, refusal).into_response(),
    };
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-cache"));
    response
}

fn check(request: &Request, bound: IpAddr) -> Result<(), String> {
    let host = request
        .uri()
        .authority()
        .map(|authority| authority.as_str())
        .or_else(|| text(request.headers(), &header::HOST))
        .unwrap_or_default();
    check_host(host, bound)?;
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(());
    }
    check_origin(request.headers(), host)
}

/// A name that merely resolves to this computer is refused: a foreign page may have bound it here.
fn check_host(host: &str, bound: IpAddr) -> Result<(), String> {
    let name = without_port(host);
    let known = match name
        .trim_start_matches('[')
        .trim_end_matches(']')
        .parse::<IpAddr>()
    {
        Ok(ip) => ip.is_loopback() || ip == bound || bound.is_unspecified(),
        Err(_) => name.eq_ignore_ascii_case("localhost"),
    };
    if known {
        return Ok(());
    }
    Err(format!(
        "expected this server's own address, found host `{name}`\nopen it as localhost or by its number"
    ))
}

/// A write must come from a page of this server, or from no page at all.
fn check_origin(headers: &HeaderMap, host: &str) -> Result<(), String> {
    let site = text(headers, &HeaderName::from_static("sec-fetch-site"));
    let foreign_site = site.is_some_and(|site| !matches!(site, "same-origin" | "none"));
    let origin = text(headers, &header::ORIGIN);
    let foreign_origin = origin.is_some_and(|origin| {
        origin
            .split_once("://")
            .is_none_or(|(_, from)| !from.eq_ignore_ascii_case(host))
    });
    if foreign_site || foreign_origin {
        let from = origin.or(site).unwrap_or_default();
        return Err(format!(
            "expected a form of this server, found one from `{from}`\nnothing was written"
        ));
    }
    Ok(())
}

fn without_port(host: &str) -> &str {
    match host.rfind(':') {
        Some(colon) if !host[colon..].contains(']') => &host[..colon],
        _ => host,
    }
}

fn text<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    headers
        .get(name)
        .map(|value| value.to_str().unwrap_or("unreadable"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hosts(bound: &str, cases: &[(&str, bool)]) {
        let bound = bound.parse().expect("an address");
        for (host, good) in cases {
            assert_eq!(
                check_host(host, bound).is_ok(),
                *good,
                "host `{host}` on {bound}"
            );
        }
    }

    #[test]
    fn host_on_this_computer_only() {
        hosts(
            "127.0.0.1",
            &[
                ("localhost", true),
                ("localhost:8080", true),
                ("LOCALHOST:1", true),
                ("127.0.0.1:8080", true),
                ("127.0.0.9", true),
                ("[::1]:8080", true),
                ("[::1]", true),
                ("", false),
                ("192.168.1.7:8080", false),
                ("bench.example", false),
                ("localhost.example:8080", false),
                ("127.0.0.1.example", false),
                ("[::1].example", false),
            ],
        );
    }

    #[test]
    fn host_on_the_house_network() {
        hosts(
            "192.168.1.7",
            &[
                ("192.168.1.7:80", true),
                ("192.168.1.8", false),
                ("bench.example", false),
            ],
        );
        hosts(
            "0.0.0.0",
            &[
                ("192.168.1.7:80", true),
                ("10.0.0.1", true),
                ("bench.example", false),
            ],
        );
    }

    #[test]
    fn writes_from_own_pages_only() {
        let host = "localhost:8080";
        let cases: &[(Option<&str>, Option<&str>, bool)] = &[
            (None, None, true),
            (Some("same-origin"), Some("http://localhost:8080"), true),
            (Some("none"), None, true),
            (None, Some("http://localhost:8080"), true),
            (Some("same-origin"), None, true),
            (Some("cross-site"), None, false),
            (Some("same-site"), Some("http://localhost:9000"), false),
            (None, Some("http://localhost:9000"), false),
            (None, Some("http://bench.example"), false),
            (None, Some("null"), false),
            (Some("same-origin"), Some("null"), false),
        ];
        for (site, origin, good) in cases {
            let mut headers = HeaderMap::new();
            for (name, value) in [("sec-fetch-site", site), ("origin", origin)] {
                if let Some(value) = value {
                    headers.insert(name, HeaderValue::from_static(value));
                }
            }
            assert_eq!(
                check_origin(&headers, host).is_ok(),
                *good,
                "site {site:?}, origin {origin:?}"
            );
        }
    }
}
