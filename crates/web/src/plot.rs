//! The money curve, drawn on the server twice: for a wide sheet and for a phone.

use maud::{Markup, html};
use workshop::views::{CurvePoint, RuleView};

use crate::svg::px;

/// Everything the curve shows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MoneyCurve<'a> {
    /// Points by rising money.
    pub points: &'a [CurvePoint],
    /// Simple rules on the same pile.
    pub rules: &'a [RuleView],
    /// Money limit, if there is one.
    pub limit: Option<f64>,
    /// ISO 4217 code of the axes.
    pub currency: &'a str,
}

/// A size to draw at; text is 13 px in both.
#[derive(Debug, Clone, Copy)]
struct Size {
    class: &'static str,
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    ticks: usize,
    figures: usize,
    wordy: bool,
}

const WIDE: Size = Size {
    class: "wide",
    width: 800.0,
    height: 340.0,
    left: 46.0,
    right: 786.0,
    ticks: 7,
    figures: 4,
    wordy: true,
};
const NARROW: Size = Size {
    class: "narrow",
    width: 358.0,
    height: 290.0,
    left: 46.0,
    right: 344.0,
    ticks: 4,
    figures: 2,
    wordy: false,
};

const TOP: f64 = 24.0;
const FOOT: f64 = 44.0;

/// Both drawings of the curve; nothing when there is no point.
pub(crate) fn money_curve(curve: &MoneyCurve<'_>) -> Markup {
    html! {
        @if !curve.points.is_empty() {
            (draw(curve, WIDE))
            (draw(curve, NARROW))
        }
    }
}

/// The curve as a sentence: the accessible name of both drawings.
pub(crate) fn sentence(curve: &MoneyCurve<'_>) -> String {
    let (Some(first), Some(last)) = (curve.points.first(), curve.points.last()) else {
        return String::new();
    };
    let mut text = format!(
        "Money curve, what is left over against what is spent. {:.2} left with {:.2} spent",
        first.left_over, first.money
    );
    if let Some(chosen) = chosen(curve.points) {
        text.push_str(&format!(
            ", {:.2} left with {:.2} spent, which is the plan",
            chosen.left_over, chosen.money
        ));
    }
    text.push_str(&format!(
        "; {} steps up to {:.2}.",
        curve.points.len(),
        last.money
    ));
    for rule in curve.rules {
        let RuleView { title, loses, .. } = rule;
        text.push_str(&format!(" By the rule {title}, {loses}."));
    }
    text
}

pub(crate) fn chosen(points: &[CurvePoint]) -> Option<&CurvePoint> {
    points.iter().find(|point| point.chosen)
}

/// From figures to places on the drawing.
struct Frame {
    size: Size,
    most: f64,
    low: f64,
    high: f64,
}

impl Frame {
    fn new(curve: &MoneyCurve<'_>, size: Size) -> Frame {
        let most = curve
            .points
            .iter()
            .map(|p| p.money)
            .chain(curve.rules.iter().map(|rule| rule.money))
            .chain(curve.limit)
            .fold(1.0, f64::max);
        let left_over = curve.points.iter().map(|p| p.left_over);
        let lowest = left_over.clone().fold(f64::INFINITY, f64::min);
        let high = left_over.fold(f64::NEG_INFINITY, f64::max);
        // a rule that is far worse must not press the curve flat; it stands at the foot
        let near = lowest - 1.5 * (high - lowest).max(10.0);
        let rules = curve.rules.iter().map(|rule| rule.left_over);
        let shown = rules.filter(|left_over| *left_over >= near);
        let (low, high) = shown.fold((lowest, high), |(low, high), left_over| {
            (low.min(left_over), high.max(left_over))
        });
        // rules have their words below the curve
        let share = if curve.rules.is_empty() { 0.1 } else { 0.3 };
        let room = ((high - low) * share).max(1.0);
        Frame {
            size,
            most: most * 1.12,
            low: low - room,
            high: high + ((high - low) * 0.05).max(0.5),
        }
    }

    fn bottom(&self) -> f64 {
        self.size.height - FOOT
    }

    fn x(&self, money: f64) -> f64 {
        self.size.left + (self.size.right - self.size.left) * money / self.most
    }

    fn y(&self, left_over: f64) -> f64 {
        self.bottom()
            - (self.bottom() - TOP - 16.0) * (left_over - self.low) / (self.high - self.low)
    }
}

fn draw(curve: &MoneyCurve<'_>, size: Size) -> Markup {
    let frame = Frame::new(curve, size);
    let figures = figures(&frame, curve.points);
    html! {
        svg class=(size.class) viewBox={ "0 0 " (px(size.width)) " " (px(size.height)) } role="img" aria-label=(sentence(curve)) {
            (axes(&frame, curve.currency))
            @if let Some(limit) = curve.limit { (limit_line(&frame, limit)) }
            (steps(&frame, curve.points))
            (rules(&frame, curve, &figures))
            (figures_drawn(&figures))
            @if let Some(point) = chosen(curve.points) { (chosen_mark(&frame, point)) }
        }
    }
}

/// Grid lines and ticks with their figures, the unit in words at the axis' end.
fn axes(frame: &Frame, currency: &str) -> Markup {
    let Size {
        left, right, wordy, ..
    } = frame.size;
    let bottom = frame.bottom();
    html! {
        @for value in &ticks(frame.low, frame.high, 4) {
            path.rule d={ "M" (px(left)) " " (px(frame.y(*value))) "H" (px(right)) } {}
            text x=(px(left - 8.0)) y=(px(frame.y(*value) + 4.5)) text-anchor="end" { (figure(*value)) }
        }
        @for value in &ticks(0.0, frame.most, frame.size.ticks) {
            path.edge d={ "M" (px(frame.x(*value))) " " (px(bottom)) "v5" } {}
            text x=(px(frame.x(*value))) y=(px(bottom + 19.0)) text-anchor="middle" { (figure(*value)) }
        }
        path.ink d={ "M" (px(left)) " " (px(bottom)) "H" (px(right)) } {}
        text x="8" y="13" {
            @if wordy { "left over after money and minutes, " } @else { "left over, " } (currency)
        }
        text x=(px(right)) y=(px(frame.size.height - 5.0)) text-anchor="end" { "spent on parts and postage, " (currency) }
    }
}

fn limit_line(frame: &Frame, limit: f64) -> Markup {
    let (x, bottom) = (frame.x(limit), frame.bottom());
    html! {
        path.edge d={ "M" (px(x)) " " (px(TOP)) "V" (px(bottom)) } stroke-dasharray="5 4" {}
        text x=(px(x - 5.0)) y=(px(bottom - 8.0)) text-anchor="end" {
            @if frame.size.wordy { "your limit " } @else { "limit " } (format!("{limit:.2}"))
        }
    }
}

/// The truth is a step: money short of the next plan buys nothing more. Beyond the last plan, if it is proven, it is dotted.
fn steps(frame: &Frame, points: &[CurvePoint]) -> Markup {
    let mut line = String::new();
    for (n, point) in points.iter().enumerate() {
        let (x, y) = (px(frame.x(point.money)), px(frame.y(point.left_over)));
        line.push_str(&if n == 0 {
            format!("M{x} {y}")
        } else {
            format!("H{x}V{y}")
        });
    }
    let Some(last) = points.last() else {
        return html! {};
    };
    html! {
        path.ink d=(line) stroke-width="2" {}
        @if last.proven {
            path.ink d={ "M" (px(frame.x(last.money))) " " (px(frame.y(last.left_over))) "H" (px(frame.size.right)) }
                stroke-width="2" stroke-dasharray="2 3" {}
        }
        @for point in points.iter().filter(|point| !point.chosen) {
            rect.fill-ink[point.proven].fill-sheet[!point.proven].ink[!point.proven] x=(px(frame.x(point.money) - 3.0))
                y=(px(frame.y(point.left_over) - 3.0)) width="6" height="6" {}
        }
    }
}

fn chosen_mark(frame: &Frame, point: &CurvePoint) -> Markup {
    let (x, y) = (frame.x(point.money), frame.y(point.left_over));
    let text = if frame.size.wordy {
        format!(
            "{:.2} spent, {:.2} left, {:.2} work",
            point.money, point.left_over, point.working
        )
    } else {
        format!(
            "{:.2}: {:.2} left, {:.2} work",
            point.money, point.left_over, point.working
        )
    };
    let half = half_width(&text, 8.2);
    let middle = x.clamp(half + 2.0, frame.size.width - half - 2.0);
    html! {
        path.pen d={ "M" (px(x)) " " (px(y)) "V" (px(frame.bottom())) } stroke-width="1.5" stroke-dasharray="1 3" {}
        path.fill-pen[point.proven].fill-sheet[!point.proven].pen[!point.proven] d={ "M" (px(x)) " " (px(y - 8.0)) "l8 8l-8 8l-8-8z" }
            stroke-width=[(!point.proven).then_some("2")] {}
        text.value.is-pen x=(px(middle)) y=(px(y - 14.0)) text-anchor="middle" { (text) }
    }
}

/// What stands for a rule where there is no room for its name.
pub(crate) fn letter(n: usize) -> char {
    char::from(b'a' + u8::try_from(n % 26).unwrap_or(0))
}

/// A place that words stand on, or that they must not cover.
#[derive(Debug, Clone, Copy)]
struct Place {
    from: f64,
    to: f64,
    top: f64,
    bottom: f64,
}

impl Place {
    /// Words on a line.
    fn words(from: f64, wide: f64, line: f64) -> Place {
        Place {
            from,
            to: from + wide,
            top: line - 11.0,
            bottom: line + 3.0,
        }
    }

    fn line(&self) -> f64 {
        self.bottom - 3.0
    }

    fn meets(&self, other: &Place) -> bool {
        let beside = self.to + 4.0 <= other.from || other.to + 4.0 <= self.from;
        let above = self.bottom <= other.top || other.bottom <= self.top;
        !beside && !above
    }
}

/// What the words of rules must not cover: the curve, the figures at it, the rules' marks, the words at the limit.
fn obstacles(frame: &Frame, curve: &MoneyCurve<'_>, figures: &[(Place, String)]) -> Vec<Place> {
    let mut places: Vec<Place> = figures.iter().map(|(place, _)| *place).collect();
    if let Some(limit) = curve.limit {
        let wide = 2.0 * half_width("your limit 00.00", 7.0);
        let end = frame.x(limit) - 5.0;
        places.push(Place::words(end - wide, wide, frame.bottom() - 8.0));
    }
    for pair in curve.points.windows(2) {
        let (x, next) = (frame.x(pair[0].money), frame.x(pair[1].money));
        let (y, up) = (frame.y(pair[0].left_over), frame.y(pair[1].left_over));
        let along = |from: f64, to: f64, top: f64, bottom: f64| Place {
            from,
            to,
            top,
            bottom,
        };
        places.push(along(x, next, y - 2.0, y + 2.0));
        places.push(along(next - 2.0, next + 2.0, up.min(y), up.max(y)));
    }
    for rule in curve.rules {
        let (x, y) = (frame.x(rule.money), frame.y(rule.left_over));
        places.push(Place {
            from: x - 2.0,
            to: x + 2.0,
            top: y - 5.0,
            bottom: y + 5.0,
        });
    }
    places
}

/// Simple rules as open circles, each with its name and what it loses; by letters on a narrow sheet. One that is off the
/// scale is an arrow near the foot.
fn rules(frame: &Frame, curve: &MoneyCurve<'_>, figures: &[(Place, String)]) -> Markup {
    let mut taken = obstacles(frame, curve, figures);
    let mut marks = Vec::new();
    let foot = frame.bottom() - 24.0;
    for (n, rule) in curve.rules.iter().enumerate() {
        let x = frame.x(rule.money);
        let y = frame.y(rule.left_over);
        let off = y > frame.bottom();
        let y = y.min(foot);
        let text = if frame.size.wordy {
            format!("{} {}", rule.title, rule.loses)
        } else {
            letter(n).to_string()
        };
        let wide = 2.0 * half_width(&text, 7.0);
        // beside its mark where there is room, else a line higher or lower
        let places = [0.0, -15.0, 15.0, -30.0, 30.0].map(|by| {
            let line = y + 4.5 + by;
            [
                Place::words(x + 9.0, wide, line),
                Place::words(x - 9.0 - wide, wide, line),
            ]
        });
        let clear = |place: &Place| {
            let inside = place.from > frame.size.left && place.to < frame.size.width;
            inside && !taken.iter().any(|other| place.meets(other))
        };
        let mut places = places.into_iter().flatten();
        let first = Place::words(x + 9.0, wide, y + 4.5);
        let place = places.find(clear).unwrap_or(first);
        taken.push(place);
        marks.push((x, y, off, place, text));
    }
    html! {
        @for (x, y, off, place, text) in marks {
            @if off {
                path.ink d={ "M" (px(x - 5.0)) " " (px(y - 3.0)) "l5 7l5-7" } stroke-width="1.8" {}
            } @else {
                circle.ink.fill-sheet cx=(px(x)) cy=(px(y)) r="4.5" stroke-width="1.8" {}
            }
            @if (place.line() - y - 4.5).abs() > 1.0 {
                // a line leads from words that stand elsewhere to their mark
                path.edge d={ "M" (px(x)) " " (px(y + if place.line() > y { 6.0 } else { -6.0 })) "L" (px(x.clamp(place.from, place.to))) " " (px(if place.line() > y { place.top } else { place.bottom })) } {}
            }
            text.is-ink x=(px(place.from)) y=(px(place.line())) { (text) }
        }
    }
}

/// Machines expected to work, beside the points that add most, where there is room.
fn figures(frame: &Frame, points: &[CurvePoint]) -> Vec<(Place, String)> {
    let mut by_gain: Vec<usize> = (0..points.len()).filter(|n| !points[*n].chosen).collect();
    let gain = |n: usize| {
        if n == 0 {
            f64::INFINITY
        } else {
            points[n].working - points[n - 1].working
        }
    };
    by_gain.sort_by(|a, b| gain(*b).total_cmp(&gain(*a)));
    let chosen_y = chosen(points).map(|point| frame.y(point.left_over));
    let mut labels: Vec<(Place, String)> = Vec::new();
    for n in by_gain {
        let (x, y) = (frame.x(points[n].money), frame.y(points[n].left_over));
        let first = n == 0;
        let working = points[n].working;
        let place = if first {
            Place::words(x + 8.0, 2.0 * half_width("0.00 work", 7.0), y + 18.0)
        } else {
            let wide = 2.0 * half_width("0.00", 7.5);
            Place::words(x - 4.0 - wide, wide, y - 6.0)
        };
        let clear = labels.iter().all(|(other, _)| !place.meets(other))
            && place.line() < frame.bottom() - 2.0
            && place.from > frame.size.left
            && chosen_y.is_none_or(|chosen| (chosen - 14.0 - place.line()).abs() > 16.0);
        if clear && labels.len() < frame.size.figures && gain(n) > 0.005 {
            let end = if first { " work" } else { "" };
            labels.push((place, format!("{working:.2}{end}")));
        }
    }
    labels
}

fn figures_drawn(figures: &[(Place, String)]) -> Markup {
    html! {
        @for (place, text) in figures {
            text.is-ink x=(px(place.from)) y=(px(place.line())) { (text) }
        }
    }
}

fn half_width(text: &str, letter: f64) -> f64 {
    text.chars().count() as f64 * letter / 2.0
}

fn figure(value: f64) -> String {
    if value < 0.0 {
        format!("\u{2212}{:.0}", -value)
    } else {
        format!("{value:.0}")
    }
}

/// Round steps within the span: 1, 2 or 5 times a power of ten, about this many.
fn ticks(low: f64, high: f64, about: usize) -> Vec<f64> {
    let rough = ((high - low) / about.max(1) as f64).max(1e-9);
    let power = 10f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|n| n * power);
    let step = steps
        .into_iter()
        .min_by(|a, b| (a / rough).ln().abs().total_cmp(&(b / rough).ln().abs()))
        .unwrap_or(rough)
        .max(1.0);
    let (from, to) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    (from..=to).map(|n| n as f64 * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(money: f64, left_over: f64, working: f64, chosen: bool) -> CurvePoint {
        CurvePoint {
            money,
            left_over,
            working,
            chosen,
            proven: true,
        }
    }

    #[test]
    fn round_ticks() {
        assert_eq!(
            ticks(0.0, 140.0, 7),
            [0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 140.0]
        );
        assert_eq!(ticks(0.0, 7.0, 4), [0.0, 2.0, 4.0, 6.0]);
        assert_eq!(ticks(-30.0, 30.0, 4), [-20.0, 0.0, 20.0]);
        assert_eq!(ticks(159.0, 510.0, 4), [200.0, 300.0, 400.0, 500.0]);
        assert_eq!(ticks(0.0, 0.4, 4), [0.0]);
    }

    #[test]
    fn drawn_twice_and_named() {
        let points = [
            point(0.0, 188.6, 3.76, false),
            point(73.67, 480.03, 7.28, true),
        ];
        let curve = MoneyCurve {
            points: &points,
            rules: &[RuleView {
                title: "cheapest first".into(),
                money: 96.2,
                left_over: 431.1,
                working: 6.9,
                loses: "−48.93".into(),
                proven: true,
            }],
            limit: Some(120.0),
            currency: "EUR",
        };
        let markup = money_curve(&curve).0;
        assert_eq!(markup.matches("<svg").count(), 2);
        assert!(markup.contains("73.67 spent, 480.03 left, 7.28 work"));
        assert!(markup.contains("your limit 120.00"));
        assert_eq!(
            sentence(&curve),
            "Money curve, what is left over against what is spent. 188.60 left with 0.00 spent, \
             480.03 left with 73.67 spent, which is the plan; 2 steps up to 73.67. By the rule cheapest first, −48.93."
        );
    }

    #[test]
    fn strange_curves_stay_on_the_sheet() {
        let cases: [&[CurvePoint]; 4] = [
            &[],
            &[point(0.0, 0.0, 0.0, true)],
            &[
                point(0.0, -80.0, 0.0, false),
                point(500.0, -20.0, 1.0, true),
            ],
            &[point(0.0, 5.0, 1.0, false), point(0.0, 5.0, 1.0, true)],
        ];
        for points in cases {
            for limit in [None, Some(0.0), Some(900.0)] {
                let markup = money_curve(&MoneyCurve {
                    points,
                    rules: &[],
                    limit,
                    currency: "EUR",
                })
                .0;
                assert!(
                    !markup.contains("NaN") && !markup.contains("inf"),
                    "{markup}"
                );
            }
        }
    }
}
