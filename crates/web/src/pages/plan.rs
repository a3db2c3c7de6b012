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

/// What was refused.
#[derive(Debug, Clone, Copy)]
pub struct RefusedLimits<'a> {
    /// As typed.
    pub typed: Typed<'a>,
    /// What is wrong.
    pub error: &'a Error,
}

/// Which form was sent, as typed.
#[derive(Debug, Clone, Copy)]
pub enum Typed<'a> {
    /// The limits.
    Limits {
        /// Money.
        money: &'a str,
        /// Evenings.
        evenings: &'a str,
        /// Machines working at least.
        working: &'a str,
    },
    /// A decision to settle.
    Settled(&'a str),
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
                @if view.improving {
                    // a refused form is left as it is: loading it again would send it again
                    p.paperless data-again=[refused.is_none().then_some("15")] {
                        "The search goes on while this page is read; loaded again, it shows the better plan, if there is one."
                    }
                }
            }
            (said(setting))
            div.columns.plan {
                div {
                    (curve(setting, view))
                    (decisions(view))
                    (rows("To build", &view.to_build))
                    (rows("What would change it", &view.changes))
                }
                div {
                    (limits(setting, view, refused))
                    (adds_up(&view.sum))
                    (rows("What another decision costs", &view.others))
                    (rows("Spares", &view.spares))
                    (settled(view, refused))
                    @if !view.notes.is_empty() {
                        section { h2 { "To know" } ul.notes { @for note in &view.notes { li { (prose(note)) } } } }
                    }
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
        rules: &view.rules,
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
    let top = view.curve.last().filter(|point| point.proven);
    html! {
        @if proven == view.curve.len() { "Each square is a proven plan" }
        @else if proven == 0 { "Each open square is the best plan found, without proof" }
        @else { "Each square is a proven plan, an open square one without proof" }
        "; the figure beside it is the machines expected to work."
        @if !view.curve_complete { " There may be more steps between them." }
        @if let Some(top) = top { " Beyond " (format!("{:.2}", top.money)) " more money buys nothing." }
        @if !view.rules.is_empty() {
            " "
            span.wide { "Open circles are simple rules on the same pile, with what they lose." }
            span.narrow {
                "Open circles, simple rules: "
                @for (n, rule) in view.rules.iter().enumerate() {
                    @if n > 0 { ", " }
                    b { (plot::letter(n)) } " " (rule.title) " " (rule.loses)
                }
                "."
            }
        }
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
    let typed = refused.map(|refused| refused.typed);
    let wrong_here = refused.filter(|refused| matches!(refused.typed, Typed::Limits { .. }));
    let shown = |set: Option<f64>| set.map(|set| set.to_string()).unwrap_or_default();
    let (money, evenings, working) = match typed {
        Some(Typed::Limits {
            money,
            evenings,
            working,
        }) => (money.to_owned(), evenings.to_owned(), working.to_owned()),
        _ => (
            view.money_limit.clone().unwrap_or_default(),
            shown(view.evenings_limit),
            shown(view.working_limit),
        ),
    };
    let invalid = wrong_here.map(|_| "true");
    let described = wrong_here.map(|_| "wrong");
    html! {
        section.second.paperless {
            h2 { "Limits" }
            form.limits method="post" action="/plan" {
                div {
                    label for="money" { "Money, " (setting.frame.currency) }
                    input #money name="money" value=(money) inputmode="decimal" autocomplete="off" placeholder="none"
                        aria-invalid=[invalid] aria-describedby=[described] autofocus[wrong_here.is_some()];
                }
                div {
                    label for="evenings" { "Evenings" }
                    input #evenings name="evenings" value=(evenings) inputmode="decimal" autocomplete="off" placeholder="any"
                        aria-invalid=[invalid] aria-describedby=[described];
                }
                div {
                    label for="working" { "Working" }
                    input #working name="working" value=(working) inputmode="decimal" autocomplete="off" placeholder="any"
                        aria-invalid=[invalid] aria-describedby=[described];
                }
                button.button { "Again" }
                @if let Some(refused) = wrong_here { (wrong(refused.error)) }
            }
            p.small.soft { "An evening is " (duration(view.evening_minutes)) "; an empty box is no limit." }
        }
    }
}

/// What is settled before the plan is made, and the line to settle more.
fn settled(view: &PlanView, refused: Option<RefusedLimits<'_>>) -> Markup {
    let refused = refused.and_then(|refused| match refused.typed {
        Typed::Settled(typed) => Some((typed, refused.error)),
        Typed::Limits { .. } => None,
    });
    html! {
        section #settled .paperless[view.settled.is_empty()] {
            h2 { "Settled beforehand" }
            @if !view.settled.is_empty() {
                ul.ledger.close.settled {
                    @for one in &view.settled {
                        li {
                            span.nil[is_nil(&one.cost)] { (one.cost) }
                            div {
                                (prose(&one.text))
                                form.paperless method="post" action="/plan/settle" {
                                    input type="hidden" name="free" value=(one.typed);
                                    button.plain aria-label={ "Let " (one.typed) " go" } { "let it go" }
                                }
                            }
                        }
                    }
                }
            }
            form.limits.paperless method="post" action="/plan/settle" {
                div.long {
                    label for="settle" { "Settle a decision" }
                    input #settle name="settle" value=(refused.map(|(typed, _)| typed).unwrap_or_default()) autocomplete="off"
                        placeholder="T-06 donor" aria-invalid=[refused.map(|_| "true")]
                        aria-describedby=[refused.map(|_| "wrong")] autofocus[refused.is_some()];
                }
                button.button { "Settle" }
                @if let Some((_, error)) = refused { (wrong(error)) }
            }
            p.small.soft.paperless {
                "A machine and fix, hold, donor, sell or keep; a machine, a part and a way, as T-07 U9 used-original; or without and a vendor."
            }
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

fn rows(title: &str, rows: &[SumRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                h2 { (title) }
                ul.ledger.close { @for row in rows { (parts::sum_line(&row.amount, prose(&row.text), false)) } }
            }
        }
    }
}
