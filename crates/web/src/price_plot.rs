//! Prices over time, drawn on the server twice: for a wide sheet and for a phone.

use maud::{Markup, html};
use workshop::views::{History, PastPrice};

use crate::svg::px;

struct Size {
    class: &'static str,
    width: f64,
    right: f64,
    labels: usize,
}

const WIDE: Size = Size {
    class: "wide",
    width: 800.0,
    right: 620.0,
    labels: 5,
};
const NARROW: Size = Size {
    class: "narrow",
    width: 358.0,
    right: 196.0,
    labels: 3,
};
const HEIGHT: f64 = 260.0;
const LEFT: f64 = 56.0;
const TOP: f64 = 28.0;
const BOTTOM: f64 = 222.0;

/// Both drawings; nothing if there is no price.
pub(crate) fn prices(view: &History) -> Markup {
    let points: Vec<(i64, &PastPrice)> =
        view.prices.iter().map(|one| (-one.days_ago, one)).collect();
    html! {
        @if !points.is_empty() {
            (draw(view, &points, &WIDE))
            (draw(view, &points, &NARROW))
        }
    }
}

/// From days and coins to places on the drawing.
struct Frame {
    first: f64,
    days: f64,
    most: f64,
    right: f64,
}

impl Frame {
    fn x(&self, day: i64) -> f64 {
        LEFT + (self.right - LEFT) * (whole(day) - self.first) / self.days
    }

    fn y(&self, coins: i64) -> f64 {
        BOTTOM - (BOTTOM - TOP) * whole(coins) / self.most
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "days and prices are far below 2^53"
)]
fn whole(number: i64) -> f64 {
    number as f64
}

fn draw(view: &History, points: &[(i64, &PastPrice)], size: &Size) -> Markup {
    let first = points.iter().map(|(day, _)| *day).min().unwrap_or(0);
    let last = points.iter().map(|(day, _)| *day).max().unwrap_or(0);
    let most = points
        .iter()
        .map(|(_, one)| one.coins)
        .max()
        .unwrap_or(1)
        .max(1);
    let frame = Frame {
        first: whole(first),
        days: whole((last - first).max(1)),
        most: whole(most) * 1.12,
        right: size.right,
    };
    let mut vendors: Vec<&str> = points.iter().map(|(_, one)| one.vendor.as_str()).collect();
    vendors.sort_unstable();
    vendors.dedup();
    let dearest = points.iter().max_by_key(|(_, one)| one.coins);
    html! {
        svg class=(size.class) viewBox={ "0 0 " (px(size.width)) " " (px(HEIGHT)) } role="img" aria-label=(sentence(view)) {
            path.rule d={ "M" (px(LEFT)) " " (px(frame.y(most))) "H" (px(size.right)) } {}
            path.ink d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(size.right)) } {}
            text x=(px(LEFT - 8.0)) y=(px(BOTTOM + 4.5)) text-anchor="end" { "0" }
            @if let Some((_, one)) = dearest {
                text x=(px(LEFT - 8.0)) y=(px(frame.y(one.coins) + 4.5)) text-anchor="end" { (one.price) }
            }
            text x="8" y="13" { "price of one, " (view.currency) }
            (day_text(points, first, frame.x(first), "start"))
            @if last > first { (day_text(points, last, frame.x(last), "end")) }
            @for vendor in &vendors { (line(&frame, points, vendor)) }
            (labels(&frame, points, &vendors, size))
        }
    }
}

fn day_text(points: &[(i64, &PastPrice)], day: i64, x: f64, anchor: &str) -> Markup {
    let written = points
        .iter()
        .find(|(one, _)| *one == day)
        .map(|(_, one)| one.day.as_str());
    html! { text x=(px(x)) y=(px(BOTTOM + 20.0)) text-anchor=(anchor) { (written.unwrap_or_default()) } }
}

/// A price holds until the next is seen: a step.
fn line(frame: &Frame, points: &[(i64, &PastPrice)], vendor: &str) -> Markup {
    let own: Vec<&(i64, &PastPrice)> = points
        .iter()
        .filter(|(_, one)| one.vendor == vendor)
        .collect();
    let mut path = String::new();
    for (n, (day, one)) in own.iter().enumerate() {
        let (x, y) = (px(frame.x(*day)), px(frame.y(one.coins)));
        path.push_str(&if n == 0 {
            format!("M{x} {y}")
        } else {
            format!("H{x}V{y}")
        });
    }
    html! {
        path.ink d=(path) stroke-width="2" {}
        @for (day, one) in own {
            rect.fill-ink x=(px(frame.x(*day) - 3.0)) y=(px(frame.y(one.coins) - 3.0)) width="6" height="6" {}
        }
    }
}

/// The vendor's name and last price at the end of his line, moved apart where they would overlap.
fn labels(frame: &Frame, points: &[(i64, &PastPrice)], vendors: &[&str], size: &Size) -> Markup {
    let mut ends: Vec<(f64, f64, String)> = vendors
        .iter()
        .filter_map(|vendor| {
            let (day, one) = points
                .iter()
                .rev()
                .find(|(_, one)| one.vendor == **vendor)?;
            let roomy = size.width > 400.0 && !one.at.is_empty();
            let at = if roomy {
                format!(", {}", one.at)
            } else {
                String::new()
            };
            Some((
                frame.x(*day),
                frame.y(one.coins),
                format!("{} {vendor}{at}", one.price),
            ))
        })
        .collect();
    ends.sort_by(|a, b| a.1.total_cmp(&b.1));
    ends.truncate(size.labels.max(1));
    let mut below = f64::NEG_INFINITY;
    for (_, y, _) in &mut ends {
        *y = (*y + 4.5).max(below + 17.0);
        below = *y;
    }
    html! {
        @for (_, y, text) in ends {
            text.value x=(px(size.right + 8.0)) y=(px(y)) { (text) }
        }
    }
}

/// The drawing as a sentence.
fn sentence(view: &History) -> String {
    let prices: Vec<String> = view
        .prices
        .iter()
        .map(|one| format!("{} on {} at {}", one.price, one.day, one.vendor))
        .collect();
    format!("Prices of {} over time: {}.", view.title, prices.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn past(days_ago: i64, vendor: &str, coins: i64) -> PastPrice {
        PastPrice {
            day: format!("{days_ago} days ago"),
            days_ago,
            vendor: vendor.into(),
            price: format!("{:.2}", whole(coins) / 100.0),
            coins,
            at: String::new(),
        }
    }

    #[test]
    fn drawn_twice_and_whole() {
        let cases = [
            vec![],
            vec![past(10, "northgate", 390)],
            vec![past(10, "northgate", 390), past(10, "kettle", 390)],
            vec![
                past(670, "northgate", 0),
                past(0, "northgate", 310),
                past(-3, "x", 1),
            ],
        ];
        for prices in cases {
            let drawn = if prices.is_empty() { 0 } else { 2 };
            let view = History {
                item: "4164".into(),
                title: "4164".into(),
                heading: String::new(),
                currency: "EUR".into(),
                prices,
            };
            let markup = super::prices(&view).0;
            assert_eq!(markup.matches("<svg").count(), drawn);
            assert!(
                !markup.contains("NaN") && !markup.contains("inf"),
                "{markup}"
            );
        }
    }
}
