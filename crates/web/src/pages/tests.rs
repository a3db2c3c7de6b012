//! What holds for every page, whatever it shows.

use std::collections::BTreeSet;

use super::{Setting, Theme};
use crate::sample;

fn every_page(check: impl Fn(&str, &str)) {
    let frame = sample::frame();
    for theme in Theme::ALL {
        let setting = Setting {
            frame: &frame,
            theme,
            said: None,
            here: "/",
        };
        for (name, page) in sample::pages(&setting) {
            check(name, &page);
        }
    }
}

/// The values of an attribute, in order.
fn values<'p>(page: &'p str, attribute: &str) -> Vec<&'p str> {
    let start = format!(" {attribute}=\"");
    page.split(start.as_str())
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

#[test]
fn nothing_inline_and_nothing_from_elsewhere() {
    every_page(|name, page| {
        for found in [
            " style=\"",
            "<style",
            "javascript:",
            "http://",
            "https://",
            " onclick=",
            "NaN",
        ] {
            assert!(!page.contains(found), "{name} has `{found}`");
        }
        for script in page.split("<script").skip(1) {
            assert!(
                script.contains("></script>") && script.starts_with(" src=\"/assets/"),
                "{name} has a script inline"
            );
        }
    });
}

#[test]
fn one_heading_one_sheet_and_each_id_once() {
    every_page(|name, page| {
        assert_eq!(page.matches("<h1").count(), 1, "{name}: headings");
        assert_eq!(page.matches("<main").count(), 1, "{name}: sheets");
        let ids = values(page, "id");
        let set: BTreeSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), set.len(), "{name}: an id twice in {ids:?}");
        let wanted = ["for", "aria-describedby", "list", "form"]
            .into_iter()
            .flat_map(|attribute| values(page, attribute));
        for id in wanted.flat_map(str::split_whitespace) {
            assert!(set.contains(id), "{name}: no id `{id}`");
        }
    });
}

#[test]
fn no_form_stands_within_another() {
    every_page(|name, page| {
        for form in page.split("<form").skip(1) {
            assert!(form.contains("</form>"), "{name}: a form within a form");
        }
    });
}

#[test]
fn every_box_has_a_label() {
    every_page(|name, page| {
        let labelled: BTreeSet<&str> = values(page, "for").into_iter().collect();
        for start in ["<input", "<select", "<textarea"] {
            for tag in page
                .split(start)
                .skip(1)
                .filter_map(|rest| rest.split('>').next())
            {
                if tag.contains("type=\"hidden\"") {
                    continue;
                }
                let id = values(tag, "id").first().copied().unwrap_or_default();
                assert!(
                    labelled.contains(id),
                    "{name}: `{start}{tag}>` has no label"
                );
            }
        }
    });
}

#[test]
fn the_chosen_light_stands_on_the_root() {
    let frame = sample::frame();
    let cases = [
        (Theme::System, "<html lang=\"en\">"),
        (Theme::Dark, "<html lang=\"en\" data-theme=\"dark\">"),
    ];
    for (theme, root) in cases {
        let setting = Setting {
            frame: &frame,
            theme,
            said: None,
            here: "/",
        };
        assert!(sample::pages(&setting)[0].1.contains(root), "{theme:?}");
    }
}

#[test]
fn a_refused_line_keeps_what_was_typed() {
    let frame = sample::frame();
    let setting = Setting {
        frame: &frame,
        theme: Theme::System,
        said: None,
        here: "/",
    };
    let pages = sample::pages(&setting);
    for name in ["bench-wrong", "card-wrong"] {
        let page = pages
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, page)| page.as_str())
            .expect("the page");
        assert!(
            page.contains("value=\"13x\"") && page.contains("aria-invalid=\"true\""),
            "{name}: the line"
        );
        assert!(
            page.contains("Expected a time, found <span class=\"hand\">13x</span>."),
            "{name}: the sentence"
        );
        assert!(
            page.contains("Write <span class=\"hand\">138</span> or"),
            "{name}: the hint"
        );
    }
}
