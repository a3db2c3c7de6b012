//! Chromium without a window, driven through chromedriver (W3C WebDriver, JSON over HTTP).
//!
//! `cargo xtask test` says in `BOARDWRIGHT_CHROMIUM` and `BOARDWRIGHT_CHROMEDRIVER` which programs to use; without
//! these, the ones on the PATH. Anything that goes wrong ends the test with what the driver answered.

use std::cell::RefCell;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use ureq::Agent;

/// How long a page may take to show what a test waits for.
const PATIENCE: Duration = Duration::from_secs(15);

/// The key under which WebDriver hands out an element (W3C WebDriver, section 12).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Keys as WebDriver writes them (W3C WebDriver, section 17.4.2).
pub(crate) mod key {
    /// Tab
    pub(crate) const TAB: char = '\u{E004}';
    /// Enter
    pub(crate) const ENTER: char = '\u{E007}';
}

/// The size of a screen in CSS pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Screen {
    /// 1280 × 800
    Desktop,
    /// 390 × 844, at two dots a pixel, touched rather than clicked
    Phone,
    /// Any other width, 800 high
    Width(u32),
}

/// Which colours the system asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scheme {
    /// Dark ink on light paper
    Light,
    /// The other way round
    Dark,
}

/// A browser of its own for one test, ended on drop.
pub(crate) struct Browser {
    agent: Agent,
    session: String,
    complaints: RefCell<Vec<String>>,
    driver: Driver,
}

/// The WebDriver server; on drop it is ended.
struct Driver {
    child: Child,
    // held open, so that the driver never writes into a closed pipe
    _output: BufReader<ChildStdout>,
    address: String,
    profile: TempDir,
}

/// Why chromedriver did not do something.
struct Refusal {
    error: String,
    message: String,
}

impl Browser {
    /// Starts chromedriver on a free port and a browser with an empty profile, as a desktop in light colours.
    pub(crate) fn start() -> Browser {
        let driver = Driver::start();
        let config = Agent::config_builder()
            .timeout_global(Some(Duration::from_secs(120)))
            .http_status_as_error(false)
            .build();
        let mut browser = Browser {
            agent: config.into(),
            session: format!("{}/session", driver.address),
            complaints: RefCell::default(),
            driver,
        };
        let answer = browser.post("", &capabilities(browser.driver.profile.path()));
        let id = answer["sessionId"].as_str().expect("a session has an id");
        browser.session = format!("{}/{id}", browser.session);
        browser.screen(Screen::Desktop);
        browser.scheme(Scheme::Light);
        browser
    }

    /// Opens a page and waits until it is loaded.
    pub(crate) fn open(&self, url: &str) {
        self.post("/url", &json!({ "url": url }));
    }

    /// The address of the page.
    pub(crate) fn url(&self) -> String {
        text(&self.get("/url"))
    }

    /// Loads the page again.
    pub(crate) fn reload(&self) {
        self.post("/refresh", &json!({}));
    }

    /// Sets the size of the screen, exactly, and whether it is touched.
    pub(crate) fn screen(&self, screen: Screen) {
        let (width, height, dots, phone) = match screen {
            Screen::Desktop => (1280, 800, 1, false),
            Screen::Phone => (390, 844, 2, true),
            Screen::Width(width) => (width, 800, 1, false),
        };
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            &json!({ "width": width, "height": height, "deviceScaleFactor": dots, "mobile": phone,
                "screenWidth": width, "screenHeight": height }),
        );
        self.devtools(
            "Emulation.setTouchEmulationEnabled",
            &json!({ "enabled": phone }),
        );
    }

    /// Sets the colours that the system asks for.
    pub(crate) fn scheme(&self, scheme: Scheme) {
        let value = match scheme {
            Scheme::Light => "light",
            Scheme::Dark => "dark",
        };
        let features = json!([{ "name": "prefers-color-scheme", "value": value }]);
        self.devtools(
            "Emulation.setEmulatedMedia",
            &json!({ "features": features }),
        );
    }

    /// Runs the body of a function in the page; its arguments are `arguments[0]` and so on.
    pub(crate) fn evaluate(&self, script: &str, arguments: &[Value]) -> Value {
        self.post(
            "/execute/sync",
            &json!({ "script": script, "args": arguments }),
        )
    }

    /// The text that a person sees in the first element that matches, once there is one in a page that is whole.
    pub(crate) fn text(&self, css: &str) -> String {
        let script = "if (document.readyState !== 'complete') return null;
            const e = document.querySelector(arguments[0]); return e && e.innerText.trim()";
        let found = self.wait_until(&format!("`{css}`"), || {
            Some(self.evaluate(script, &[css.into()])).filter(|found| !found.is_null())
        });
        text(&found)
    }

    /// The texts of all elements that match now.
    pub(crate) fn texts(&self, css: &str) -> Vec<String> {
        let script =
            "return [...document.querySelectorAll(arguments[0])].map(e => e.innerText.trim())";
        let found = self.evaluate(script, &[css.into()]);
        found.as_array().expect("a list").iter().map(text).collect()
    }

    /// Clicks the first element that matches, once there is one; a link's page is loaded afterwards. It is brought to
    /// the middle of the screen first, as a person would who sees it behind a bar.
    pub(crate) fn click(&self, css: &str) {
        self.wait_for(css);
        let script = "document.querySelector(arguments[0]).scrollIntoView({ block: 'center', behavior: 'instant' })";
        self.evaluate(script, &[css.into()]);
        self.to_element(css, "click", &json!({}));
    }

    /// Types into the first element that matches, after emptying it.
    pub(crate) fn fill(&self, css: &str, typed: &str) {
        self.to_element(css, "clear", &json!({}));
        self.to_element(css, "value", &json!({ "text": typed }));
    }

    /// Presses keys, one after the other, wherever the focus is.
    pub(crate) fn press(&self, keys: &[char]) {
        let stroke = |key: &char| {
            [
                json!({ "type": "keyDown", "value": key }),
                json!({ "type": "keyUp", "value": key }),
            ]
        };
        self.key_actions(keys.iter().flat_map(stroke).collect());
    }

    /// Waits until this element has the focus, as `tag#id` or `tag "text"`.
    pub(crate) fn wait_for_focus(&self, on: &str) {
        let script = "const e = document.activeElement, tag = e.tagName.toLowerCase();
            return e.id ? tag + '#' + e.id : tag + ' \"' + e.innerText.trim().slice(0, 40) + '\"'";
        self.wait_until(&format!("focus on {on}"), || {
            (self.evaluate(script, &[]) == on).then_some(())
        });
    }

    /// Waits for an element that matches.
    pub(crate) fn wait_for(&self, css: &str) {
        self.text(css);
    }

    /// What sticks out to the right of the screen; nothing may, a page never scrolls sideways.
    pub(crate) fn sticking_out(&self) -> Vec<String> {
        let script = "const wide = document.documentElement.clientWidth;
            if (document.documentElement.scrollWidth <= wide) return [];
            return [...document.querySelectorAll('body *')]
                .filter(e => e.getBoundingClientRect().right > wide + 0.5)
                .map(e => e.outerHTML.slice(0, 100))";
        let found = self.evaluate(script, &[]);
        found.as_array().expect("a list").iter().map(text).collect()
    }

    /// Writes a picture of the whole page, scrolled to its end, where what is fixed to the screen covers nothing.
    pub(crate) fn screenshot(&self, file: &Path) {
        self.evaluate(
            "scrollTo({ top: document.body.scrollHeight, behavior: 'instant' })",
            &[],
        );
        let size = &self.devtools("Page.getLayoutMetrics", &json!({}))["cssContentSize"];
        let clip =
            json!({ "x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1 });
        let shot = self.devtools(
            "Page.captureScreenshot",
            &json!({ "format": "png", "captureBeyondViewport": true, "clip": clip }),
        );
        write_base64(file, &shot["data"]);
    }

    /// Prints the page on A4 as PDF.
    pub(crate) fn print(&self, file: &Path) {
        // A4 in centimetres
        let page = json!({ "width": 21.0, "height": 29.7 });
        write_base64(
            file,
            &self.post("/print", &json!({ "page": page, "background": true })),
        );
    }

    /// What the browser complained of since the start: script errors, what the content policy refused, missing files.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let entries = self.post("/se/log", &json!({ "type": "browser" }));
        let mut complaints = self.complaints.borrow_mut();
        for entry in entries.as_array().expect("a list") {
            if entry["level"] == "SEVERE" || entry["level"] == "WARNING" {
                complaints.push(format!(
                    "{}: {}",
                    text(&entry["source"]),
                    text(&entry["message"])
                ));
            }
        }
        complaints.clone()
    }

    /// A command of Chromium's own protocol, for what WebDriver has no word.
    fn devtools(&self, command: &str, parameters: &Value) -> Value {
        self.post(
            "/goog/cdp/execute",
            &json!({ "cmd": command, "params": parameters }),
        )
    }

    fn key_actions(&self, actions: Vec<Value>) {
        let source = json!({ "type": "key", "id": "keyboard", "actions": actions });
        self.post("/actions", &json!({ "actions": [source] }));
    }

    /// Sends a command to the first element that matches, again if the page was exchanged in between.
    fn to_element(&self, css: &str, command: &str, body: &Value) {
        let query = json!({ "using": "css selector", "value": css });
        self.wait_until(&format!("`{css}`"), || {
            let found = self.post("/elements", &query);
            let element = found[0][ELEMENT].as_str()?;
            match self.try_post(&format!("/element/{element}/{command}"), body) {
                Ok(_) => Some(()),
                Err(refusal) if refusal.error == "stale element reference" => None,
                Err(refusal) => panic!("cannot {command} `{css}`: {}", refusal.message),
            }
        });
    }

    fn wait_until<T>(&self, what: &str, mut look: impl FnMut() -> Option<T>) -> T {
        let start = Instant::now();
        loop {
            if let Some(found) = look() {
                return found;
            }
            let page = || text(&self.evaluate("return document.body.innerText", &[]));
            assert!(
                start.elapsed() < PATIENCE,
                "no {what} on {}:\n{}",
                self.url(),
                page()
            );
            thread::sleep(Duration::from_millis(50));
        }
    }

    fn get(&self, path: &str) -> Value {
        let answer = self.agent.get(format!("{}{path}", self.session)).call();
        read_answer(answer).unwrap_or_else(|refusal| refusal.end(path))
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        self.try_post(path, body)
            .unwrap_or_else(|refusal| refusal.end(path))
    }

    fn try_post(&self, path: &str, body: &Value) -> Result<Value, Refusal> {
        let request = self.agent.post(format!("{}{path}", self.session));
        read_answer(
            request
                .header("content-type", "application/json")
                .send(body.to_string()),
        )
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // ends Chromium; the driver is ended after it, and no answer means that both are gone already
        let _ = self.agent.delete(&self.session).call();
    }
}

impl Driver {
    fn start() -> Driver {
        let profile = TempDir::new().expect("a folder for the browser's profile");
        let program = program("BOARDWRIGHT_CHROMEDRIVER").unwrap_or("chromedriver".to_owned());
        let mut child = Command::new(&program)
            .arg("--port=0")
            .env("HOME", profile.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("`{program}` did not start: {error}; run `cargo xtask test --only pages`")
            });
        let mut output = BufReader::new(child.stdout.take().expect("stdout is piped"));
        let address = format!("http://127.0.0.1:{}", announced_port(&mut output));
        Driver {
            child,
            _output: output,
            address,
            profile,
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Reads `ChromeDriver was started successfully on port 40325.`
fn announced_port(output: &mut impl BufRead) -> u16 {
    let mut said = String::new();
    loop {
        let start = said.len();
        let length = output
            .read_line(&mut said)
            .expect("chromedriver speaks UTF-8");
        assert!(
            length > 0,
            "chromedriver ended before it had a port:\n{said}"
        );
        let port = said[start..]
            .trim_end()
            .trim_end_matches('.')
            .rsplit_once("successfully on port ");
        if let Some(port) = port.and_then(|(_, port)| port.parse().ok()) {
            return port;
        }
    }
}

fn capabilities(profile: &Path) -> Value {
    let mut options = json!({ "args": [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--hide-scrollbars",
        "--force-color-profile=srgb",
        format!("--user-data-dir={}", profile.join("profile").display()),
    ]});
    if let Some(binary) = program("BOARDWRIGHT_CHROMIUM") {
        options["binary"] = binary.into();
    }
    json!({ "capabilities": { "alwaysMatch": {
        "goog:chromeOptions": options,
        "goog:loggingPrefs": { "browser": "ALL" },
    }}})
}

fn program(variable: &str) -> Option<String> {
    std::env::var(variable).ok()
}

/// The `value` of an answer, which is what was asked for or an error (W3C WebDriver, section 6.6).
fn read_answer(
    answer: Result<ureq::http::Response<ureq::Body>, ureq::Error>,
) -> Result<Value, Refusal> {
    let mut answer = answer.unwrap_or_else(|error| panic!("no answer from chromedriver: {error}"));
    let body = answer
        .body_mut()
        .with_config()
        .limit(256 << 20)
        .read_to_string();
    let body = body.unwrap_or_else(|error| panic!("half an answer from chromedriver: {error}"));
    let mut json: Value = serde_json::from_str(&body).expect("chromedriver speaks JSON");
    let value = json["value"].take();
    if answer.status().is_success() {
        return Ok(value);
    }
    Err(Refusal {
        error: text(&value["error"]),
        message: text(&value["message"]),
    })
}

impl Refusal {
    fn end(self, path: &str) -> Value {
        panic!(
            "chromedriver refused `{path}`: {}: {}",
            self.error, self.message
        )
    }
}

fn text(value: &Value) -> String {
    value
        .as_str()
        .map_or_else(|| value.to_string(), str::to_owned)
}

fn write_base64(file: &Path, data: &Value) {
    let bytes = decode_base64(data.as_str().expect("chromedriver sends base64"));
    std::fs::write(file, bytes)
        .unwrap_or_else(|error| panic!("cannot write {}: {error}", file.display()));
}

/// Width and height from the first chunk of a PNG.
pub(crate) fn png_size(file: &Path) -> (u32, u32) {
    let bytes = std::fs::read(file)
        .unwrap_or_else(|error| panic!("no picture {}: {error}", file.display()));
    assert!(
        bytes.starts_with(b"\x89PNG"),
        "{} is no PNG",
        file.display()
    );
    let number =
        |at: usize| u32::from_be_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
    (number(16), number(20))
}

/// Base 64 with the alphabet of RFC 4648, section 4.
fn decode_base64(text: &str) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    let (mut bits, mut count) = (0u32, 0);
    for digit in text.bytes().take_while(|&digit| digit != b'=') {
        let six = match digit {
            b'A'..=b'Z' => digit - b'A',
            b'a'..=b'z' => digit - b'a' + 26,
            b'0'..=b'9' => digit - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => panic!("expected base64, found `{}`", char::from(digit)),
        };
        bits = bits << 6 | u32::from(six);
        count += 6;
        if count >= 8 {
            count -= 8;
            bytes.push((bits >> count) as u8);
            bits &= (1 << count) - 1;
        }
    }
    bytes
}

mod tests {
    //! The helper itself, on a small page that needs no server.

    use std::fs;

    use super::{Browser, Scheme, Screen, TempDir, decode_base64, json, png_size};

    const PAGE: &str = r#"<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Bench</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="script-src 'none'">
<style>
body { margin: 0; height: 2000px; background: rgb(250, 250, 240) }
@media (prefers-color-scheme: dark) { body { background: rgb(20, 20, 20) } }
@media (max-width: 400px) { h1 { color: rgb(1, 2, 3) } }
@media (pointer: coarse) { h1 { margin-top: 44px } }
</style></head><body><h1>Nine machines</h1>
<form action="noted.html"><input id="line" name="line"><button>Note</button></form>
<div>1 wide thing</div></body></html>"#;

    const NOTED: &str =
        "<!DOCTYPE html><title>Noted</title><p>one</p><p>two</p><script>unheard()</script>";

    fn bench() -> (TempDir, Browser) {
        let folder = TempDir::new().expect("a folder for the pages");
        fs::write(folder.path().join("bench.html"), PAGE).expect("a page");
        fs::write(folder.path().join("noted.html"), NOTED).expect("a page");
        let browser = Browser::start();
        browser.open(&address(&folder, "bench.html"));
        (folder, browser)
    }

    fn address(folder: &TempDir, name: &str) -> String {
        format!("file://{}", folder.path().join(name).display())
    }

    fn style(browser: &Browser, css: &str, name: &str) -> String {
        let script = "return getComputedStyle(document.querySelector(arguments[0]))[arguments[1]]";
        super::text(&browser.evaluate(script, &[css.into(), name.into()]))
    }

    #[test]
    fn screens_colours_and_pictures() {
        let (folder, browser) = bench();
        let picture = folder.path().join("bench.png");
        let width = || {
            browser.evaluate(
                "return [screen.width, document.documentElement.clientWidth]",
                &[],
            )
        };
        assert_eq!(width(), json!([1280, 1280]));
        assert_eq!(
            style(&browser, "body", "backgroundColor"),
            "rgb(250, 250, 240)"
        );
        browser.scheme(Scheme::Dark);
        assert_eq!(
            style(&browser, "body", "backgroundColor"),
            "rgb(20, 20, 20)"
        );
        browser.screen(Screen::Phone);
        assert_eq!(width(), json!([390, 390]));
        assert_eq!(style(&browser, "h1", "color"), "rgb(1, 2, 3)");
        assert_eq!(style(&browser, "h1", "marginTop"), "44px");
        assert_eq!(browser.sticking_out(), [""; 0]);
        browser.screenshot(&picture);
        let (wide, high) = png_size(&picture);
        assert!(wide == 780 && high >= 4000, "{wide} × {high}");
        browser.screen(Screen::Width(320));
        assert_eq!(width(), json!([320, 320]));
        browser.evaluate("document.querySelector('div').style.width = '600px'", &[]);
        assert_eq!(
            browser.sticking_out(),
            ["<div style=\"width: 600px;\">1 wide thing</div>"]
        );
        let pdf = folder.path().join("bench.pdf");
        browser.print(&pdf);
        assert!(fs::read(&pdf).expect("a print").starts_with(b"%PDF-"));
    }

    #[test]
    fn complaints_stay() {
        let (folder, browser) = bench();
        assert_eq!(browser.complaints(), [""; 0]);
        browser.open(&address(&folder, "noted.html"));
        browser.reload();
        let twice = browser.complaints();
        assert!(
            twice
                .iter()
                .all(|line| line.contains("unheard is not defined")),
            "{twice:?}"
        );
        assert_eq!(twice.len(), 2, "{twice:?}");
        let refused = PAGE.replace("<h1>", "<h1 onclick=\"alert()\">");
        fs::write(folder.path().join("refused.html"), refused).expect("a page");
        browser.open(&address(&folder, "refused.html"));
        let last = browser.complaints().pop().unwrap_or_default();
        assert!(
            last.starts_with("security:") && last.contains("Content Security Policy"),
            "{last}"
        );
    }

    #[test]
    fn base64() {
        // RFC 4648, section 10
        for (text, expect) in [
            ("", ""),
            ("Zg==", "f"),
            ("Zm8=", "fo"),
            ("Zm9v", "foo"),
            ("Zm9vYmFy", "foobar"),
        ] {
            assert_eq!(decode_base64(text), expect.as_bytes(), "{text}");
        }
        assert_eq!(decode_base64("+/+/"), [0xfb, 0xff, 0xbf]);
    }
}
