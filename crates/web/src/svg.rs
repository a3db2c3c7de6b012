//! Small drawings: marks of states, limit bands, the chance rule, the board.

use std::fmt::Write as _;

use maud::{Markup, html};
use workshop::views::{Band, CellState, Drawing, DrawnPart};

/// The shape that goes with a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// Holds, done.
    Dot,
    /// Outside, not as it should be.
    Cross,
    /// Cannot tell.
    HalfDiamond,
    /// Still to take.
    Ring,
    /// Skipped.
    Dash,
    /// Caution.
    Triangle,
}

/// A mark; the word beside it says the same, so it is hidden from readers of the page.
pub(crate) fn mark(mark: Mark) -> Markup {
    html! {
        svg.mark viewBox="0 0 12 12" aria-hidden="true" {
            @match mark {
                Mark::Dot => circle.fill-ink cx="6" cy="6" r="4.4" {},
                Mark::Cross => path.bad d="M2 2l8 8m0-8l-8 8" stroke-width="2.5" {},
                Mark::HalfDiamond => {
                    path.fill-doubt d="M6 .8v10.4L.8 6z" {}
                    path.doubt d="M6 .8L11.2 6L6 11.2L.8 6z" stroke-width="1.4" {}
                },
                Mark::Ring => circle.edge cx="6" cy="6" r="4.3" stroke-width="1.4" {},
                Mark::Dash => path.edge d="M1.5 6h9" stroke-width="1.8" {},
                Mark::Triangle => {
                    path.doubt d="M6 1L11.4 11H.6z" stroke-width="1.3" {}
                    path.doubt d="M6 4.6v3M6 8.5v1.3" stroke-width="1.4" {}
                },
            }
        }
    }
}

/// Where the limits stand, in shares of the width: always the same, so that brackets line up in a column.
const LOW_AT: f64 = 0.25;
const HIGH_AT: f64 = 0.75;

/// A band for a grid: no figures, the sentence is its name.
pub(crate) fn band_small(band: &Band) -> Markup {
    html! {
        svg.band viewBox="0 0 100 16" role="img" aria-label=(band.sentence) { (strip(band, 100.0, 8.0, 5.6)) }
    }
}

/// A band with its figures under the brackets.
pub(crate) fn band_large(band: &Band) -> Markup {
    let at = place(band, band.value);
    let off = at.and_then(|at| (!(0.0..=1.0).contains(&at)).then_some(at));
    html! {
        svg.band.large viewBox="0 0 272 36" role="img" aria-label=(band.sentence) {
            (strip(band, 272.0, 12.0, 7.0))
            @if let Some(low) = &band.low_text { (figure(LOW_AT * 272.0, low)) }
            @if let Some(high) = &band.high_text { (figure(HIGH_AT * 272.0, high)) }
            @match off {
                Some(at) if at < 0.0 => text.is-bad x="0" y="34" { (short(band)) },
                Some(_) => text.is-bad x="272" y="34" text-anchor="end" { (short(band)) },
                None => {},
            }
        }
    }
}

/// The reading without its unit: the brackets carry the unit.
fn short(band: &Band) -> &str {
    band.value_text
        .split([' ', '\u{a0}'])
        .next()
        .unwrap_or_default()
}

fn figure(x: f64, text: &str) -> Markup {
    html! { text x=(px(x)) y="34" text-anchor="middle" { (text) } }
}

/// Dotted outside, solid within, brackets, the reading with its uncertainty.
fn strip(band: &Band, width: f64, y: f64, arm: f64) -> Markup {
    let low = band.low.map(|_| LOW_AT * width);
    let high = band.high.map(|_| HIGH_AT * width);
    let bracket = |x: f64, inward: f64| {
        format!(
            "M{} {}H{}V{}H{}",
            px(x + inward),
            px(y - arm),
            px(x),
            px(y + arm),
            px(x + inward)
        )
    };
    html! {
        path.edge d={ "M0 " (px(y)) "H" (px(width)) } stroke-dasharray="1.5 2.5" {}
        path.ink d={ "M" (px(low.unwrap_or(0.0))) " " (px(y)) "H" (px(high.unwrap_or(width))) } stroke-width="1.5" {}
        @if let Some(low) = low { path.ink d=(bracket(low, 3.0)) stroke-width="1.2" {} }
        @if let Some(high) = high { path.ink d=(bracket(high, -3.0)) stroke-width="1.2" {} }
        (reading(band, width, y))
    }
}

fn reading(band: &Band, width: f64, y: f64) -> Markup {
    let Some(at) = place(band, band.value) else {
        return html! {};
    };
    let bad = band.state() == CellState::Bad;
    let x = at * width;
    if !(0.0..=1.0).contains(&at) {
        let (tip, back) = if at < 0.0 {
            (2.0, 6.0)
        } else {
            (width - 2.0, -6.0)
        };
        let d = format!(
            "M{} {}L{} {}L{} {}",
            px(tip + back),
            px(y - 5.0),
            px(tip),
            px(y),
            px(tip + back),
            px(y + 5.0)
        );
        return html! { path.bad[bad].pen[!bad] d=(d) stroke-width="2.4" {} };
    }
    let edge = |value: f64| place(band, value).map_or(x, |at| at.clamp(0.0, 1.0) * width);
    let from = edge(band.value - band.half_width).min(x - 2.5).max(0.0);
    let to = edge(band.value + band.half_width).max(x + 2.5).min(width);
    html! {
        path.bad[bad].pen[!bad] d={ "M" (px(from)) " " (px(y)) "H" (px(to)) } stroke-width="4" {}
        @if bad {
            path.bad d={ "M" (px(x - 4.0)) " " (px(y - 4.0)) "l8 8m0-8l-8 8" } stroke-width="2.2" {}
        } @else {
            circle.fill-pen cx=(px(x)) cy=(px(y)) r="3.6" {}
        }
    }
}

/// Where a value stands, as a share of the width; with one limit the limit's own size is the scale.
fn place(band: &Band, value: f64) -> Option<f64> {
    let scale = |limit: f64| {
        if limit == 0.0 {
            (value.abs() + band.half_width).max(f64::MIN_POSITIVE)
        } else {
            limit.abs()
        }
    };
    let at = match (band.low, band.high) {
        (Some(low), Some(high)) if high > low => LOW_AT + (value - low) / (high - low) * 0.5,
        (Some(low), None) => LOW_AT + (value - low) / scale(low) * 0.5,
        (None, Some(high)) => HIGH_AT + (value - high) / scale(high) * 0.5,
        _ => return None,
    };
    at.is_finite().then_some(at)
}

/// The ruler from 0 to 100: the bar is the chance now, the open mark the chance before the last finding.
pub(crate) fn ruler(chance: f64, was: Option<f64>) -> Markup {
    let name = match was {
        Some(was) => format!(
            "{:.0} in 100, was {:.0} in 100 before the last finding",
            chance * 100.0,
            was * 100.0
        ),
        None => format!("{:.0} in 100", chance * 100.0),
    };
    drawn_ruler(chance, was, &name)
}

/// A chance as it would be, the open mark where it is now.
pub(crate) fn ruler_then(then: f64, now: f64) -> Markup {
    let name = format!(
        "{:.0} in 100 then, {:.0} in 100 now",
        then * 100.0,
        now * 100.0
    );
    drawn_ruler(then, Some(now), &name)
}

fn drawn_ruler(chance: f64, was: Option<f64>, name: &str) -> Markup {
    let x = |share: f64| 0.5 + 175.0 * share.clamp(0.0, 1.0);
    let mut ticks = String::from("M.5 11h175");
    for tenth in 0..=10u8 {
        let length = if tenth % 5 == 0 { 7 } else { 4 };
        let _ = write!(ticks, "M{} 11v-{length}", px(x(f64::from(tenth) / 10.0)));
    }
    html! {
        svg.ruler viewBox="0 0 176 14" role="img" aria-label=(name) {
            path.edge d=(ticks) {}
            path.ink d={ "M.5 11H" (px(x(chance))) } stroke-width="4" {}
            @if let Some(was) = was {
                path.ink.fill-sheet d={ "M" (px(x(was))) " 8.500l-4.500-7h9z" } stroke-width="1.2" {}
            }
        }
    }
}

/// Width of the board drawing in its own units.
const BOARD_WIDTH: f64 = 300.0;
const LETTER: f64 = 8.4;
const LINE: f64 = 14.0;

/// A rectangle: left, top, right, bottom.
#[derive(Debug, Clone, Copy)]
struct Area(f64, f64, f64, f64);

impl Area {
    fn meets(self, other: Area) -> bool {
        self.0 < other.2 && other.0 < self.2 && self.1 < other.3 && other.1 < self.3
    }

    fn within(self, other: Area) -> bool {
        self.0 >= other.0 && self.1 >= other.1 && self.2 <= other.2 && self.3 <= other.3
    }
}

/// The board: an outline, its parts, reference and rank on those that are suspect.
pub(crate) fn board(drawing: &Drawing) -> Markup {
    let scale = BOARD_WIDTH / drawing.width.max(1.0);
    let height = (drawing.height * scale).max(20.0);
    let board = Area(0.0, 0.0, BOARD_WIDTH, height);
    let rect = |part: &DrawnPart| {
        let [x, y, w, h] = part.area.map(|mm| mm * scale);
        Area(x, y, x + w, y + h)
    };
    let suspects: Vec<&DrawnPart> = drawing
        .parts
        .iter()
        .filter(|part| !part.ranks.is_empty())
        .collect();
    let labels = place_labels(&suspects, board, &rect);
    html! {
        svg.board viewBox={ "-1 -1 302 " (px(height + 2.0)) } role="img" aria-label=(drawing.sentence) {
            rect.ink width="300" height=(px(height)) rx="3" stroke-width="1.5" {}
            @for part in drawing.parts.iter().filter(|part| part.ranks.is_empty()) {
                (drawn(rect(part), false))
            }
            @for part in &suspects { (drawn(rect(part), true)) }
            @for (area, text, inside) in &labels {
                text.is-ink.inside[*inside] x=(px((area.0 + area.2) / 2.0)) y=(px(area.3 - 3.5)) text-anchor="middle" { (text) }
            }
        }
    }
}

fn drawn(area: Area, suspect: bool) -> Markup {
    html! {
        rect.ink[suspect].fill-faint[suspect].rule[!suspect] x=(px(area.0)) y=(px(area.1)) width=(px(area.2 - area.0))
            height=(px(area.3 - area.1)) stroke-width=[suspect.then_some("1.5")] {}
    }
}

/// A label a suspect: inside its part if it fits, else beside it where nothing else stands, else the rank alone.
fn place_labels(
    suspects: &[&DrawnPart],
    board: Area,
    rect: &dyn Fn(&DrawnPart) -> Area,
) -> Vec<(Area, String, bool)> {
    let mut placed: Vec<(Area, String, bool)> = Vec::new();
    let mut order: Vec<&&DrawnPart> = suspects.iter().collect();
    order.sort_by_key(|part| part.ranks.iter().min());
    for part in order {
        let ranks: Vec<String> = part.ranks.iter().map(usize::to_string).collect();
        let full = format!("{}: {}", part.part, ranks.join(", "));
        let body = rect(part);
        let free = |area: Area, inside: bool| {
            area.within(board)
                && placed.iter().all(|(taken, ..)| !taken.meets(area))
                && (inside || suspects.iter().all(|other| !rect(other).meets(area)))
        };
        let choices = around(body, &full, board)
            .into_iter()
            .map(|(area, inside)| (area, full.clone(), inside));
        let rank = around(body, &ranks[0], board)
            .into_iter()
            .take(1)
            .map(|(area, inside)| (area, ranks[0].clone(), inside));
        if let Some(label) = choices
            .chain(rank)
            .find(|(area, _, inside)| free(*area, *inside) && (!inside || area.within(body)))
        {
            placed.push(label);
        }
    }
    placed
}

/// Places for a label, best first: inside, below and above in the middle, below and above along an edge, right, left.
/// Beside a part at the board's edge it moves inwards, off the outline.
fn around(body: Area, text: &str, board: Area) -> Vec<(Area, bool)> {
    let width = LETTER * text.chars().count() as f64 * 0.85;
    let (mid_x, mid_y) = ((body.0 + body.2) / 2.0, (body.1 + body.3) / 2.0);
    let at = |left: f64, top: f64| Area(left, top, left + width, top + LINE);
    let (centred, below, above) = (mid_x - width / 2.0, body.3 + 3.0, body.1 - LINE - 2.0);
    let level = mid_y - LINE / 2.0;
    let beside = level.min(board.3 - LINE - 2.0).max(board.1 + 2.0);
    vec![
        (at(centred, level), true),
        (at(centred, below), false),
        (at(centred, above), false),
        (at(body.0, below), false),
        (at(body.2 - width, below), false),
        (at(body.0, above), false),
        (at(body.2 - width, above), false),
        (at(body.2 + 3.0, beside), false),
        (at(body.0 - width - 3.0, beside), false),
    ]
}

/// A coordinate with one digit, without a needless zero.
pub(crate) fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    fn band(low: Option<f64>, high: Option<f64>, value: f64, outside: f64) -> Band {
        Band {
            low,
            high,
            value,
            half_width: 0.03,
            outside,
            low_text: low.map(|v| v.to_string()),
            high_text: high.map(|v| v.to_string()),
            value_text: format!("{value} V"),
            sentence: format!("{value} V against its limits"),
        }
    }

    fn at(low: Option<f64>, high: Option<f64>, value: f64, expect: Option<f64>) {
        let found =
            place(&band(low, high, value, 0.0), value).map(|at| (at * 1000.0).round() / 1000.0);
        assert_eq!(found, expect, "{value} in {low:?} to {high:?}");
    }

    #[test]
    fn limits_stand_at_a_quarter_and_three_quarters() {
        at(Some(4.75), Some(5.25), 4.75, Some(0.25));
        at(Some(4.75), Some(5.25), 5.25, Some(0.75));
        at(Some(4.75), Some(5.25), 5.0, Some(0.5));
        at(Some(4.75), Some(5.25), 0.0, Some(-4.5));
        at(Some(2.0), None, 2.0, Some(0.25));
        at(Some(2.0), None, 3.0, Some(0.5));
        at(None, Some(60.0), 18.0, Some(0.4));
        at(None, Some(0.0), -1.0, Some(0.265));
        at(Some(5.0), Some(5.0), 5.0, None);
        at(None, None, 5.0, None);
        at(Some(4.75), Some(5.25), f64::NAN, None);
    }

    fn check(markup: &Markup, expect: Expect) {
        expect.assert_eq(&markup.0.replace("><", ">\n<"));
    }

    #[test]
    fn a_reading_within() {
        check(
            &band_small(&band(Some(4.75), Some(5.25), 4.98, 0.0)),
            expect![[r#"
            <svg class="band" viewBox="0 0 100 16" role="img" aria-label="4.98 V against its limits">
            <path class="edge" d="M0 8H100" stroke-dasharray="1.5 2.5">
            </path>
            <path class="ink" d="M25 8H75" stroke-width="1.5">
            </path>
            <path class="ink" d="M28 2.4H25V13.6H28" stroke-width="1.2">
            </path>
            <path class="ink" d="M72 2.4H75V13.6H72" stroke-width="1.2">
            </path>
            <path class=" pen" d="M45 8H51" stroke-width="4">
            </path>
            <circle class="fill-pen" cx="48" cy="8" r="3.6">
            </circle>
            </svg>"#]],
        );
    }

    #[test]
    fn a_reading_off_the_scale() {
        check(
            &band_large(&band(Some(4.75), Some(5.25), 9.1, 1.0)),
            expect![[r#"
            <svg class="band large" viewBox="0 0 272 36" role="img" aria-label="9.1 V against its limits">
            <path class="edge" d="M0 12H272" stroke-dasharray="1.5 2.5">
            </path>
            <path class="ink" d="M68 12H204" stroke-width="1.5">
            </path>
            <path class="ink" d="M71 5H68V19H71" stroke-width="1.2">
            </path>
            <path class="ink" d="M201 5H204V19H201" stroke-width="1.2">
            </path>
            <path class="bad" d="M264 7L270 12L264 17" stroke-width="2.4">
            </path>
            <text x="68" y="34" text-anchor="middle">4.75</text>
            <text x="204" y="34" text-anchor="middle">5.25</text>
            <text class="is-bad" x="272" y="34" text-anchor="end">9.1</text>
            </svg>"#]],
        );
    }

    #[test]
    fn a_chance_on_the_rule() {
        check(
            &ruler(0.63, Some(0.41)),
            expect![[r#"
            <svg class="ruler" viewBox="0 0 176 14" role="img" aria-label="63 in 100, was 41 in 100 before the last finding">
            <path class="edge" d="M.5 11h175M0.5 11v-7M18 11v-4M35.5 11v-4M53 11v-4M70.5 11v-4M88 11v-7M105.5 11v-4M123 11v-4M140.5 11v-4M158 11v-4M175.5 11v-7">
            </path>
            <path class="ink" d="M.5 11H110.8" stroke-width="4">
            </path>
            <path class="ink fill-sheet" d="M72.2 8.500l-4.500-7h9z" stroke-width="1.2">
            </path>
            </svg>"#]],
        );
    }

    #[test]
    fn labels_do_not_cover_each_other() {
        let part = |n: usize| DrawnPart {
            part: format!("U{}", n + 15),
            area: [20.0 + 14.0 * n as f64, 40.0, 10.0, 24.0],
            ranks: vec![n + 1],
        };
        let drawing = Drawing {
            width: 150.0,
            height: 90.0,
            parts: (0..6).map(part).collect(),
            sentence: "Six in a row".into(),
        };
        let parts: Vec<&DrawnPart> = drawing.parts.iter().collect();
        let rect = |part: &DrawnPart| {
            let [x, y, w, h] = part.area.map(|mm| mm * 2.0);
            Area(x, y, x + w, y + h)
        };
        let labels = place_labels(&parts, Area(0.0, 0.0, 300.0, 180.0), &rect);
        assert_eq!(labels.len(), 6);
        for (n, one) in labels.iter().enumerate() {
            for other in &labels[n + 1..] {
                assert!(!one.0.meets(other.0), "{} meets {}", one.1, other.1);
            }
        }
    }

    #[test]
    fn coordinates() {
        assert_eq!(
            [px(3.0), px(3.12), px(-0.04), px(120.26)].join(" "),
            "3 3.1 0 120.3"
        );
    }
}
