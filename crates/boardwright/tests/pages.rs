//! The pages as a person sees them: the built program, served, in headless Chromium.

#[expect(dead_code, reason = "the tests of the command line use the rest")]
mod support;
#[path = "support/webdriver.rs"]
mod webdriver;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use support::{Bench, Server};
use webdriver::{Browser, Scheme, Screen, key, png_size};

/// Every page: what its pictures are called, its address, and whether it is printed too.
const PAGES: [(&str, &str, bool); 19] = [
    ("bench", "/", true),
    ("open-cell", "/bench?check=reset&machine=T-07", false),
    ("card", "/machine/T-03", true),
    ("rounds", "/rounds", true),
    ("what-if", "/machine/T-03?if=sync", false),
    ("what-if-act", "/machine/T-03?if=fit+U9+new", false),
    ("comes-and-goes", "/machine/T-07", false),
    ("shelved", "/machine/T-05", false),
    ("plan", "/plan", true),
    ("parcels", "/parcels", true),
    ("offers", "/offers", false),
    ("price-history", "/offers/4164-150ns", false),
    ("stock", "/stock", true),
    ("strip", "/machine/T-06/strip", false),
    ("take-in", "/take-in", false),
    ("boards", "/boards", false),
    ("new-board", "/new-board", false),
    ("board", "/boards/ostrel-8-r2", false),
    ("about", "/boards/ostrel-8-r2/about?name=U9", false),
];

const LOOKS: [(&str, Screen, Scheme); 4] = [
    ("desktop-light", Screen::Desktop, Scheme::Light),
    ("desktop-dark", Screen::Desktop, Scheme::Dark),
    ("phone-light", Screen::Phone, Scheme::Light),
    ("phone-dark", Screen::Phone, Scheme::Dark),
];

const EXCEPTIONS: &str = "T-06 battery leaked\nT-09 U9 absent\nT-01 someone was inside";

#[test]
fn every_page_on_every_screen_and_on_paper() {
    let (bench, browser) = (demo(), Browser::start());
    let server = bench.serve();
    for (name, address, printed) in PAGES {
        for (look, screen, scheme) in LOOKS {
            browser.screen(screen);
            browser.scheme(scheme);
            browser.open(&server.page(address));
            whole(&browser, &format!("{name}-{look}"));
            browser.screenshot(&picture(&format!("{name}-{look}.png")));
        }
        browser.screen(Screen::Width(320));
        browser.open(&server.page(address));
        whole(&browser, &format!("{name} at 320 px"));
        if printed {
            let file = picture(&format!("{name}.pdf"));
            browser.print(&file);
            let sheets = sheets(&file);
            assert!((1..=2).contains(&sheets), "{name}: {sheets} sheets");
        }
    }
    the_picture_of_the_readme(&browser, &server);
}

/// With BOARDWRIGHT_UPDATE_PICTURES=1 it is taken anew; else it has to be there.
fn the_picture_of_the_readme(browser: &Browser, server: &Server) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/pictures/bench-plan.png");
    if std::env::var_os("BOARDWRIGHT_UPDATE_PICTURES").is_some_and(|value| value == "1") {
        browser.screen(Screen::Desktop);
        browser.scheme(Scheme::Light);
        browser.open(&server.page("/"));
        fs::create_dir_all(file.parent().expect("a folder")).expect("the folder of pictures");
        browser.screenshot(&file);
    }
    let (wide, high) = png_size(&file);
    assert!(
        wide == 1280 && (700..=2400).contains(&high),
        "{} is {wide} × {high}; run this test with BOARDWRIGHT_UPDATE_PICTURES=1",
        file.display()
    );
}

#[test]
fn an_empty_workshop_takes_nine_in_and_a_thumb_writes_a_finding() {
    let (bench, browser) = (club(), Browser::start());
    let server = bench.serve();
    browser.screen(Screen::Phone);
    browser.open(&server.page("/"));
    assert_eq!(browser.text("h1"), "Nothing is taken in yet.");
    take_nine_in(&browser, &server);
    assert_eq!(
        browser.texts("tbody th .tag"),
        [
            "T-01", "T-02", "T-03", "T-04", "T-05", "T-06", "T-07", "T-08", "T-09"
        ]
    );
    let said = browser.text(".said");
    for exception in ["battery leaked", "U9", "inside"] {
        assert!(said.contains(exception), "{exception}:\n{said}");
    }

    // two taps: the tag, then the word
    browser.click("tbody th a[href='/machine/T-03']");
    browser.wait_for("#entry .choices");
    let before = browser.text("h1");
    browser.click("#entry .choices button[name=word]:nth-of-type(2)");
    browser.wait_for("#entry .said");
    assert_ne!(browser.text("h1"), before);
    browser.click("button[form=take-back]");
    browser.wait_for(".journal del");
    assert_eq!(browser.text("h1"), before);
    whole(&browser, "a finding taken back");
}

#[test]
fn a_finding_by_keyboard_alone_and_nonsense_with_a_sentence() {
    let (bench, browser) = (club(), Browser::start());
    let server = bench.serve();
    take_nine_in(&browser, &server);
    let type_in = |text: &str| {
        browser.press(&text.chars().chain([key::ENTER]).collect::<Vec<_>>());
    };

    browser.open(&server.page("/"));
    browser.press(&[key::TAB, key::ENTER, key::TAB]);
    browser.wait_for_focus("a \"To the open cell\"");
    browser.press(&[key::ENTER]);
    browser.wait_for_focus("input#value");
    let open = "document.querySelector('#value').dataset";
    let open = |name: &str| {
        let found = browser.evaluate(&format!("return {open}[arguments[0]]"), &[name.into()]);
        found.as_str().expect("an open cell").to_owned()
    };
    let (machine, check) = (open("machine"), open("check"));
    assert_eq!(machine, "T-01");
    let word = browser.evaluate(
        "return document.querySelector('.choices button[name=word]').value",
        &[],
    );
    let word = word.as_str().expect("a word").to_owned();
    type_in(&word);
    browser.wait_for(".told .said");
    assert_eq!((open("machine"), open("check")), ("T-02".to_owned(), check));
    browser.wait_for_focus("input#value");

    for (address, field, nonsense) in [
        ("/bench?check=reset&machine=T-05", "value", "forty two"),
        ("/machine/T-05", "line", "the cat sat"),
        ("/machine/T-05", "line", "+5v 4.7.7"),
    ] {
        browser.open(&server.page(address));
        browser.fill(&format!("#{field}"), nonsense);
        browser.press(&[key::ENTER]);
        let sentence = browser.text("#wrong p");
        let plain = ["xpected", "found", "."]
            .iter()
            .all(|part| sentence.contains(part));
        assert!(plain, "{nonsense}: {sentence}");
        let kept = browser.evaluate(
            "return document.querySelector(arguments[0]).value",
            &[format!("#{field}").into()],
        );
        assert_eq!(kept, nonsense);
        browser.wait_for_focus(&format!("input#{field}"));
    }
    assert!(!bench.ok(&["journal", "T-05"]).contains("cat"));
}

#[test]
fn something_supposed_is_marked_and_written_only_by_its_button() {
    let (bench, browser) = (demo(), Browser::start());
    let server = bench.serve();
    let before = bench.ok(&["journal"]);
    browser.open(&server.page("/machine/T-03"));
    browser.click("#if-act option[value=reseat]");
    browser.fill("#if-of", "U14");
    browser.press(&[key::ENTER]);
    browser.wait_for("#wrong");
    assert!(browser.text("#wrong p").contains("soldered"));
    browser.fill("#if-of", "U9");
    browser.press(&[key::ENTER]);
    browser.wait_for(".supposed .ledger");
    assert!(browser.text(".supposed .mark-of").contains("not recorded"));
    assert_eq!(browser.text(".supposed h3"), "If U9 were reseated.");
    whole_but_for_refusals(&browser, "something supposed");
    assert_eq!(bench.ok(&["journal"]), before);
    browser.click(".supposed .buttons button");
    browser.wait_for(".said");
    assert!(browser.text(".said").contains("Reseated U9."));
    assert_ne!(bench.ok(&["journal"]), before);
}

#[test]
fn a_swap_and_the_shelf_by_page() {
    let (bench, browser) = (demo(), Browser::start());
    let server = bench.serve();
    browser.open(&server.page("/machine/T-09"));
    browser.click("#act option[value=swap]");
    browser.fill("#part", "U9");
    browser.fill("#what", "mule");
    browser.press(&[key::ENTER]);
    browser.wait_for(".said");
    assert!(browser.text(".said").contains("have changed places"));
    assert!(
        browser
            .text(".headline")
            .contains("U9 holds U9 of the mule.")
    );
    browser.click("button[name=shelf]");
    browser.wait_for("button[value=back]");
    browser.open(&server.page("/"));
    assert_eq!(browser.texts(".shelved .tag"), ["T-05", "T-09"]);
    browser.click(".shelved a[href='/machine/T-05']");
    browser.wait_for("button[value=back]");
    browser.click("button[value=back]");
    browser.wait_for("button[value=away]");
    whole(&browser, "taken back from the shelf");
}

#[test]
fn limits_change_the_plan_and_a_parcel_is_ordered() {
    let (bench, browser) = (demo(), Browser::start());
    let server = bench.serve();
    browser.open(&server.page("/plan"));
    let before = browser.text("h1");
    browser.fill("#money", "2");
    browser.click(".limits button");
    browser.wait_for("#money[value='2.00']");
    let less = browser.text("h1");
    assert_ne!(less, before);
    browser.fill("#money", "much");
    browser.click(".limits button");
    browser.wait_for("#wrong");
    browser.fill("#money", "120");
    browser.click(".limits button");
    browser.wait_for("#money[value='120.00']");
    assert_ne!(browser.text("h1"), less);

    browser.click("a.main[href='/parcels']");
    browser.click(".parcel form button.main");
    browser.wait_for(".parcel .state");
    assert_eq!(browser.texts(".parcel .state")[0], "Ordered");
    whole_but_for_refusals(&browser, "a parcel ordered");
}

#[test]
fn prices_are_looked_at_a_parcel_comes_in_and_a_donor_is_stripped() {
    let (bench, browser) = (demo(), Browser::start());
    let server = bench.serve();
    browser.screen(Screen::Phone);
    browser.open(&server.page("/offers"));
    browser.click("#vendor option[value=northgate]");
    browser.fill(
        "#text",
        "name;each;quantity\nOV-2 video controller, used original;12,00;1\nfuse;-1;2\n",
    );
    browser.click("#prices-in button:not([name=take])");
    browser.wait_for(".read .ledger");
    assert!(
        browser
            .text(".read")
            .contains("Line 3: expected a price above 0")
    );
    whole(&browser, "prices looked at");
    browser.screenshot(&picture("offers-read-phone.png"));
    browser.click("#prices-in button[name=take]");
    browser.wait_for(".said");
    whole(&browser, "prices taken");
    browser.open(&server.page("/parcels"));
    browser.click(".parcel form button.main");
    browser.wait_for(".parcel .state");
    browser.click(".parcel a.main");
    browser.wait_for("#what");
    browser.screenshot(&picture("received-phone.png"));
    browser.click("button[value=open]");
    browser.wait_for(".said");
    assert!(browser.text(".said").contains("came in whole"));
    browser.open(&server.page("/stock"));
    browser.fill("#what", "2 × z80a");
    browser.click("button[value=in]");
    browser.wait_for(".said");
    whole(&browser, "something put in");
    browser.open(&server.page("/machine/T-06/strip"));
    browser.click(".strip .purse button");
    browser.wait_for(".said");
    assert!(browser.text(".said").contains("in the drawer"));
    browser.open(&server.page("/stock"));
    browser.screenshot(&picture("stock-full-phone.png"));
    whole(&browser, "chips of a donor");
}

#[test]
fn the_choice_of_light_is_remembered() {
    let (bench, browser) = (Bench::new(), Browser::start());
    let server = bench.serve();
    let paper = |address: &str| {
        browser.open(&server.page(address));
        let script = "return getComputedStyle(document.querySelector('main')).backgroundColor";
        browser.evaluate(script, &[])
    };
    let light = paper("/");
    browser.scheme(Scheme::Dark);
    let dark = paper("/");
    assert_ne!(light, dark);
    for (choice, system, expect) in [
        ("light", Scheme::Dark, &light),
        ("dark", Scheme::Light, &dark),
        ("system", Scheme::Light, &light),
        ("system", Scheme::Dark, &dark),
    ] {
        browser.scheme(system);
        browser.click(&format!("button[name=theme][value={choice}]"));
        let pressed = format!("button[value={choice}][aria-pressed=true]");
        browser.wait_for(&pressed);
        for address in ["/", "/plan", "/nowhere"] {
            assert_eq!(&paper(address), expect, "{choice} on {system:?}: {address}");
        }
        browser.open(&server.page("/"));
    }
}

/// A page that loaded without complaint, has one heading and a title, and does not scroll sideways.
fn whole(browser: &Browser, what: &str) {
    assert_eq!(browser.complaints(), [""; 0], "{what}");
    whole_but_for_refusals(browser, what);
}

/// The same, but an answer 422 came before, which the browser reports as a complaint.
fn whole_but_for_refusals(browser: &Browser, what: &str) {
    assert_eq!(browser.sticking_out(), [""; 0], "{what}");
    let headings = browser.texts("h1");
    assert!(
        headings.len() == 1 && !headings[0].is_empty(),
        "{what}: {headings:?}"
    );
    let title = browser.evaluate("return document.title", &[]);
    let title = title
        .as_str()
        .and_then(|title| title.strip_suffix(" · Boardwright"));
    assert!(
        title.is_some_and(|title| !title.is_empty()),
        "{what}: {title:?}"
    );
}

/// Takes the nine of Harbour Street in by the page.
fn take_nine_in(browser: &Browser, server: &Server) {
    browser.open(&server.page("/take-in"));
    browser.fill("#came", "9 from Harbour Street, 270.00");
    browser.fill("#exceptions", EXCEPTIONS);
    browser.click("#board option[value='ostrel-8-r2']");
    browser.click(".take-in button.main");
    browser.wait_for(".round");
}

/// A workshop with the board, the vendors and the figures of the example, and no machine.
fn club() -> Bench {
    let bench = Bench::new();
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    copy(&example, &bench.folder().join("boardwright"));
    fs::remove_file(bench.folder().join("boardwright/pile.toml")).expect("the example's pile");
    bench
}

/// A copy of the demo's workshop, which is made once.
fn demo() -> Bench {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    let bench = Bench::new();
    let made = MADE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages-demo");
        bench.ok(&["demo", "--once", "--dir", &folder.display().to_string()]);
        folder
    });
    copy(made, &bench.folder().join("boardwright"));
    bench
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder for the copy");
    for entry in fs::read_dir(from).expect("a folder to copy") {
        let entry = entry.expect("an entry of the folder");
        let (from, to) = (entry.path(), to.join(entry.file_name()));
        if from.is_dir() {
            copy(&from, &to);
        } else {
            fs::copy(&from, &to).expect("a file to copy");
        }
    }
}

/// Where a picture of a page is kept, to be looked at.
fn picture(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages");
    fs::create_dir_all(&folder).expect("a folder for the pictures");
    folder.join(name)
}

/// How many sheets of paper a PDF has: its page objects, which Chromium does not compress.
fn sheets(pdf: &Path) -> usize {
    let bytes = fs::read(pdf).expect("a print");
    let text = String::from_utf8_lossy(&bytes);
    text.matches("/Type /Page\n").count()
}
