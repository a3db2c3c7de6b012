//! Style, script and type, embedded, under names that carry a hash of their content.

use std::sync::LazyLock;

use axum::{
    extract::Path,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use sha2::{Digest, Sha256};

/// Names may be kept for ever: another content has another name.
const FOR_EVER: &str = "public, max-age=31536000, immutable";

/// One embedded file.
struct Asset {
    name: String,
    kind: &'static str,
    bytes: Vec<u8>,
}

impl Asset {
    fn new(stem: &str, ending: &str, kind: &'static str, bytes: &[u8]) -> Asset {
        let digest = Sha256::digest(bytes);
        let hash: String = digest
            .iter()
            .take(6)
            .map(|byte| format!("{byte:02x}"))
            .collect();
        Asset {
            name: format!("{stem}-{hash}.{ending}"),
            kind,
            bytes: bytes.to_vec(),
        }
    }

    fn address(&self) -> String {
        format!("/assets/{}", self.name)
    }
}

struct Assets {
    style: Asset,
    script: Asset,
    icon: Asset,
    regular: Asset,
    bold: Asset,
}

static ASSETS: LazyLock<Assets> = LazyLock::new(|| {
    let regular = Asset::new(
        "brygada-400",
        "woff2",
        "font/woff2",
        include_bytes!("assets/brygada-400.woff2"),
    );
    let bold = Asset::new(
        "brygada-600",
        "woff2",
        "font/woff2",
        include_bytes!("assets/brygada-600.woff2"),
    );
    let style = include_str!("assets/style.css")
        .replace("brygada-400.woff2", &regular.address())
        .replace("brygada-600.woff2", &bold.address());
    Assets {
        style: Asset::new("style", "css", "text/css; charset=utf-8", style.as_bytes()),
        script: Asset::new(
            "bench",
            "js",
            "text/javascript; charset=utf-8",
            include_bytes!("assets/bench.js"),
        ),
        icon: Asset::new(
            "tag",
            "svg",
            "image/svg+xml",
            include_bytes!("assets/tag.svg"),
        ),
        regular,
        bold,
    }
});

/// Address of the style sheet.
pub(crate) fn style() -> String {
    ASSETS.style.address()
}

/// Address of the script.
pub(crate) fn script() -> String {
    ASSETS.script.address()
}

/// Address of the icon.
pub(crate) fn icon() -> String {
    ASSETS.icon.address()
}

/// Addresses of the type, to be fetched early.
pub(crate) fn fonts() -> [String; 2] {
    [ASSETS.regular.address(), ASSETS.bold.address()]
}

/// Every embedded file by its name, for pages that are kept as files.
pub fn assets() -> impl Iterator<Item = (&'static str, &'static [u8])> {
    all().map(|asset| (asset.name.as_str(), asset.bytes.as_slice()))
}

fn all() -> impl Iterator<Item = &'static Asset> {
    let Assets {
        style,
        script,
        icon,
        regular,
        bold,
    } = &*ASSETS;
    [style, script, icon, regular, bold].into_iter()
}

/// `GET /assets/{name}`.
pub(crate) async fn asset(Path(name): Path<String>) -> Response {
    match all().find(|asset| asset.name == name) {
        Some(asset) => {
            let headers = [
                (header::CONTENT_TYPE, asset.kind),
                (header::CACHE_CONTROL, FOR_EVER),
            ];
            (headers, asset.bytes.as_slice()).into_response()
        }
        None => (StatusCode::NOT_FOUND, "no such asset; reload the page").into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn style_names_the_hashed_type() {
        let style = String::from_utf8(ASSETS.style.bytes.clone()).expect("the style is text");
        for address in fonts() {
            assert!(
                style.contains(&format!("url({address})")),
                "{address} is not in the style"
            );
        }
        assert!(!style.contains("http"), "no outside resource");
    }

    #[test]
    fn names_follow_the_content() {
        let name = |bytes: &[u8]| Asset::new("a", "css", "text/css", bytes).name;
        assert_eq!(name(b"x"), name(b"x"));
        assert_ne!(name(b"x"), name(b"y"));
    }
}
