//! The plan: what to do with every machine, under money and evenings.

use maud::{Markup, html};
use workshop::{
    Error,
    views::{DecisionView, PlanView, SumRow},
};

use super::frame::{Setting, Sheet, page, said, wrong};
use crate::{
    parts::{self, duration, is_nil, ledger_line, prose, tag},
    plot::{self, MoneyCurve},
};

/// Limits that were refused, as typed.
#[derive(Debug, Clone, Copy)]
pub struct RefusedLimits<'a> {
    /// Money as typed.
    pub money: &'a str,
    /// Evenings as typed.
    pub evenings: &'a str,
    /// What is wrong.
    pub error: &'a Error,
}

/// The plan.
#[must_use]
pub fn plan(setting: &Setting<'_>, view: &PlanView, refused: Option<RefusedLimits<'_>>) -> Markup {
    page(
        setting,
        Sheet::Plan,
        "Plan",
        html! {
            div.headline {
                h1 { (prose(&view.heading)) }
                p { (prose(&view.proof)) }
            }
            (said(setting))
            div.columns.plan {
                div {
                    (curve(setting, view))
                    (decisions(view))
                    @if !view.notes.is_empty() {
                        section { h2 { "To know" } ul.notes { @for note in &view.notes { li { (prose(note)) } } } }
                    }
                }
                div {
                    (limits(setting, view, refused))
                    (adds_up(&view.sum))
                    (changes(&view.changes))
                    div.buttons { a.button.main href="/parcels" { "To the parcels" } }
                }
            }
        },
    )
}

fn curve(setting: &Setting<'_>, view: &PlanView) -> Markup {
    let limit = view.money_limit.as_deref().and_then(figure);
    let curve = MoneyCurve {
        points: &view.curve,
        limit,
        currency: &setting.frame.currency,
    };
    html! {
        @if view.curve.len() > 1 {
            section {
                h2 { "The money curve" }
                figure { (plot::money_curve(&curve)) figcaption { (caption(view)) } }
            }
        }
    }
}

/// Money text as a place on the curve; never used to reckon.
fn figure(money: &str) -> Option<f64> {
    money
        .split_whitespace()
        .next()?
        .replace(',', "")
        .parse()
        .ok()
}

fn caption(view: &PlanView) -> Markup {
    let proven = view.curve.iter().filter(|point| point.proven).count();
    let ends_proven = view
        .curve
        .last()
        .filter(|point| point.chosen && point.proven);
    html! {
        @if proven == view.curve.len() { "Each square is a proven plan" }
        @else if proven == 0 { "Each open square is the best plan found, without proof" }
        @else { "Each square is a proven plan, an open square one without proof" }
        "; the figure beside it is the machines expected to work."
        @if let Some(last) = ends_proven { " Beyond " (format!("{:.2}", last.money)) " more money buys nothing." }
    }
}

fn decisions(view: &PlanView) -> Markup {
    html! {
        section {
            h2 { "What to do with each" }
            ol.ledger {
                @for decision in &view.decisions { (decision_line(decision)) }
                @for cost in &view.other_costs { (ledger_line(&cost.amount, None, prose(&cost.text))) }
                li.total {
                    span { (view.spends) }
                    div {
                        strong { "To spend" } ", and " strong { (duration(view.minutes)) }
                        (evenings(view)) ". Then " strong { (format!("{:.2}", view.working)) } " of " (view.decisions.len()) " are expected to work."
                    }
                }
            }
        }
    }
}

fn evenings(view: &PlanView) -> Markup {
    let evenings = if view.evening_minutes > 0.0 {
        view.minutes / view.evening_minutes
    } else {
        0.0
    };
    html! {
        @if evenings > 0.0 {
            ", " @if evenings <= 1.0 { "one evening" } @else { (parts::count(evenings.ceil() as usize)) " evenings" }
        }
    }
}

fn decision_line(decision: &DecisionView) -> Markup {
    html! {
        li {
            span.nil[is_nil(&decision.money)] { (decision.money) }
            div {
                (tag(&decision.tag)) " " strong { (prose(&decision.title)) } " " (parts::with_chances(&decision.text))
            }
        }
    }
}

fn limits(setting: &Setting<'_>, view: &PlanView, refused: Option<RefusedLimits<'_>>) -> Markup {
    let money = refused.map_or(view.money_limit.as_deref().unwrap_or_default(), |refused| {
        refused.money
    });
    let set = view
        .evenings_limit
        .map(|evenings| evenings.to_string())
        .unwrap_or_default();
    let evenings = refused.map_or(set.as_str(), |refused| refused.evenings);
    let invalid = refused.map(|_| "true");
    html! {
        section.second.paperless {
            h2 { "Limits" }
            form.limits method="post" action="/plan" {
                div {
                    label for="money" { "Money, " (setting.frame.currency) }
                    input #money name="money" value=(money) inputmode="decimal" autocomplete="off" placeholder="none"
                        aria-invalid=[invalid] aria-describedby=[refused.map(|_| "wrong")] autofocus[refused.is_some()];
                }
                div {
                    label for="evenings" { "Evenings" }
                    input #evenings name="evenings" value=(evenings) inputmode="decimal" autocomplete="off" placeholder="any"
                        aria-invalid=[invalid] aria-describedby=[refused.map(|_| "wrong")];
                }
                button.button { "Again" }
                @if let Some(refused) = refused { (wrong(refused.error)) }
            }
            p.small.soft { "An evening is " (duration(view.evening_minutes)) "; an empty box is no limit." }
        }
    }
}

fn adds_up(sum: &[SumRow]) -> Markup {
    html! {
        @if !sum.is_empty() {
            section {
                h2 { "How it adds up" }
                ol.ledger.close {
                    @for (n, row) in sum.iter().enumerate() { (parts::sum_line(&row.amount, prose(&row.text), n + 1 == sum.len())) }
                }
            }
        }
    }
}

fn changes(rows: &[SumRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "What would change it" }
                ul.ledger.close { @for row in rows { (parts::sum_line(&row.amount, prose(&row.text), false)) } }
            }
        }
    }
}
