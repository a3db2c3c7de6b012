//! The pieces every page is made of: tags, states, ledger lines, figures and sentences.

use maud::{Markup, PreEscaped, Render, html};
use workshop::views::{Cell, CellState, CheckHead, Understood, Word};

use crate::svg;

const NO_BREAK: char = '\u{a0}';

/// Longest text of a cell that is kept on one line.
const SHORT: usize = 16;

/// Units that stay on the line of their figure.
const UNITS: &str = "% V mV A mA kHz MHz Hz ms s min h Ω kΩ MΩ nF µF dB mm °C ns EUR GBP USD";

/// The strung label of a machine, a link to its job card.
pub(crate) fn tag(tag: &str) -> Markup {
    html! { a.tag href=(card_address(tag)) { (tag) } }
}

/// Address of a machine's job card.
pub(crate) fn card_address(tag: &str) -> String {
    format!("/machine/{}", segment(tag))
}

/// Address of the bench plan with this check open, and this machine's cell if one is named.
/// No fragment: browsers do not heed `autofocus` where an address has one.
pub(crate) fn cell_address(check: &str, tag: Option<&str>) -> String {
    match tag {
        Some(tag) => format!("/bench?check={}&machine={}", segment(check), segment(tag)),
        None => format!("/bench?check={}", segment(check)),
    }
}

/// Percent-encodes what is not a letter, a digit or one of `-._~`.
pub(crate) fn segment(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// A cell's state: shape, word, colour; a good reading has the pencil only.
pub(crate) fn state(cell: &Cell) -> Markup {
    let hand = html! { span.hand.long[cell.text.chars().count() > SHORT] { (prose(&cell.text)) } };
    match cell.state {
        CellState::Good if cell.band.is_some() => hand,
        CellState::Good => html! { span.state { (svg::mark(svg::Mark::Dot)) (hand) } },
        CellState::Bad => html! { span.state.bad { (svg::mark(svg::Mark::Cross)) (hand) } },
        CellState::Doubt => {
            html! { span.state.doubt { (svg::mark(svg::Mark::HalfDiamond)) (hand) } }
        }
        CellState::ToTake => {
            html! { span.state.untaken { (svg::mark(svg::Mark::Ring)) "to take" } }
        }
        CellState::Skipped => {
            html! { span.state.skipped { (svg::mark(svg::Mark::Dash)) "skipped" } }
        }
        CellState::None => {
            html! { span.state.skipped { (svg::mark(svg::Mark::Dash)) span.unseen { "not on this board" } } }
        }
    }
}

/// Words beside the entry: every outcome of a check; beside the box of a reading, which says itself whether all is well, the
/// last three.
pub(crate) fn choices(check: &CheckHead) -> &[Word] {
    let most = match check.unit {
        Some(_) => 3,
        None => check.words.len(),
    };
    &check.words[check.words.len().saturating_sub(most)..]
}

/// How a line was read: a sentence each, with the large band of a reading.
pub(crate) fn understood(rows: &[Understood]) -> Markup {
    html! {
        @for row in rows {
            p.small { span.soft { "Read as " } (prose(&row.sentence)) "." }
            @if let Some(band) = &row.cell.band { (svg::band_large(band)) }
        }
    }
}

/// One line of a ledger: a figure, what stands small under it, and the sentence.
pub(crate) fn ledger_line(
    figure: impl Render,
    under: Option<&str>,
    sentence: impl Render,
) -> Markup {
    html! {
        li {
            span { (figure) @if let Some(under) = under { small { (prose(under)) } } }
            div { (sentence) }
        }
    }
}

/// A line of a close ledger from an amount and its sentence; the total has a double rule, a zero is light.
pub(crate) fn sum_line(amount: &str, sentence: impl Render, total: bool) -> Markup {
    let nil = !total && is_nil(amount);
    html! {
        li.total[total] {
            span.nil[nil] { (amount) }
            div { @if total { strong { (sentence) } } @else { (sentence) } }
        }
    }
}

/// No digit but zeros.
pub(crate) fn is_nil(amount: &str) -> bool {
    !amount.chars().any(|c| c.is_ascii_digit() && c != '0')
}

/// A frame before the step it belongs to.
pub(crate) fn caution(mark: svg::Mark, heading: &str, body: impl Render) -> Markup {
    html! {
        div.caution { h2 { (svg::mark(mark)) (heading) } (body) }
    }
}

/// `63 %`; below one and above ninety-nine with a digit more, so that no chance looks like certainty.
pub(crate) fn percent(chance: f64) -> String {
    let hundredths = chance * 100.0;
    match hundredths {
        h if h <= 0.0 => format!("0{NO_BREAK}%"),
        h if h >= 100.0 => format!("100{NO_BREAK}%"),
        h if h < 0.05 => format!("under 0.1{NO_BREAK}%"),
        h if h > 99.95 => format!("over 99.9{NO_BREAK}%"),
        h if !(0.95..=99.0).contains(&h) => format!("{h:.1}{NO_BREAK}%"),
        h => format!("{h:.0}{NO_BREAK}%"),
    }
}

/// `3 h 55 min`.
pub(crate) fn duration(minutes: f64) -> String {
    let all = minutes.max(0.0).round();
    if minutes < 10.0 && (minutes - all).abs() >= 0.05 {
        return format!("{minutes:.1}{NO_BREAK}min");
    }
    let (hours, rest) = ((all / 60.0).floor(), all % 60.0);
    match (hours > 0.0, rest > 0.0) {
        (true, true) => format!("{hours:.0}{NO_BREAK}h{NO_BREAK}{rest:02.0}{NO_BREAK}min"),
        (true, false) => format!("{hours:.0}{NO_BREAK}h"),
        _ => format!("{rest:.0}{NO_BREAK}min"),
    }
}

/// `one` to `twelve` as words, then figures.
pub(crate) fn count(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// A sentence set with care: figures keep their units, tags are not broken at the hyphen.
pub(crate) fn prose(text: &str) -> Markup {
    let mut out = String::with_capacity(text.len() + 32);
    let (mut after_figure, mut after_sign) = (false, false);
    for (n, word) in text.split(' ').enumerate() {
        let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
        if n > 0 {
            let keep = after_sign || after_figure && UNITS.split(' ').any(|unit| unit == bare);
            out.push(if keep { NO_BREAK } else { ' ' });
        }
        if is_tag(bare.trim_start_matches('(')) {
            out.push_str(&format!(
                "<span class=\"whole\">{}</span>",
                html! { (word) }.into_string()
            ));
        } else {
            out.push_str(&html! { (word) }.into_string());
        }
        after_figure = bare.ends_with(|c: char| c.is_ascii_digit());
        after_sign = bare == "±";
    }
    PreEscaped(out)
}

/// The same with every `41 %` in it set strong.
pub(crate) fn with_chances(text: &str) -> Markup {
    let plain = prose(text).into_string();
    let sign = format!("{NO_BREAK}%");
    let mut out = String::with_capacity(plain.len() + 32);
    let mut rest = plain.as_str();
    while let Some(at) = rest.find(&sign) {
        let start = rest[..at]
            .rfind(|c: char| !c.is_ascii_digit() && c != '.')
            .map_or(0, |before| {
                before + rest[before..].chars().next().map_or(1, char::len_utf8)
            });
        let end = at + sign.len();
        out.push_str(&format!(
            "{}<strong>{}</strong>",
            &rest[..start],
            &rest[start..end]
        ));
        rest = &rest[end..];
    }
    out.push_str(rest);
    PreEscaped(out)
}

/// `T-03`: capital letters, a hyphen, digits.
fn is_tag(word: &str) -> bool {
    word.split_once('-').is_some_and(|(letters, digits)| {
        (1..=4).contains(&letters.len())
            && letters.bytes().all(|b| b.is_ascii_uppercase())
            && !digits.is_empty()
            && digits.bytes().all(|b| b.is_ascii_digit())
    })
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use workshop::views::Band;

    use super::*;

    fn check(markup: &Markup, expect: Expect) {
        expect.assert_eq(&markup.0.replace(NO_BREAK, "~"));
    }

    fn cell(state: CellState, text: &str, band: Option<Band>) -> Cell {
        Cell {
            state,
            text: text.to_owned(),
            band,
        }
    }

    #[test]
    fn percents() {
        let cases = [
            (0.0, "0 %"),
            (0.0001, "under 0.1 %"),
            (0.004, "0.4 %"),
            (0.0096, "1 %"),
            (0.634, "63 %"),
            (0.99, "99 %"),
            (0.994, "99.4 %"),
            (0.99999, "over 99.9 %"),
            (1.0, "100 %"),
        ];
        for (chance, text) in cases {
            assert_eq!(percent(chance).replace(NO_BREAK, " "), text, "{chance}");
        }
    }

    #[test]
    fn durations() {
        let cases = [
            (0.0, "0 min"),
            (8.4, "8.4 min"),
            (12.4, "12 min"),
            (59.6, "1 h"),
            (60.0, "1 h"),
            (65.0, "1 h 05 min"),
            (235.0, "3 h 55 min"),
        ];
        for (minutes, text) in cases {
            assert_eq!(duration(minutes).replace(NO_BREAK, " "), text, "{minutes}");
        }
    }

    #[test]
    fn sentences() {
        check(
            &prose("T-02 needs 4.75 V, not (T-12) <U9>."),
            expect![[
                r#"<span class="whole">T-02</span> needs 4.75~V, not <span class="whole">(T-12)</span> &lt;U9&gt;."#
            ]],
        );
        check(
            &prose("3 h 55 min and 2 U9, 139 ms ± 4"),
            expect!["3~h 55~min and 2 U9, 139~ms ±~4"],
        );
        check(
            &with_chances("Supply: U30 or the brick, 84 %. Then 3.5 % & more."),
            expect![
                "Supply: U30 or the brick, <strong>84~%</strong>. Then <strong>3.5~%</strong> &amp; more."
            ],
        );
    }

    #[test]
    fn states() {
        check(
            &state(&cell(CellState::Good, "start", None)),
            expect![[
                r#"<span class="state"><svg class="mark" viewBox="0 0 12 12" aria-hidden="true"><circle class="fill-ink" cx="6" cy="6" r="4.4"></circle></svg><span class="hand">start</span></span>"#
            ]],
        );
        check(
            &state(&cell(CellState::Bad, "no <sync>", None)),
            expect![[
                r#"<span class="state bad"><svg class="mark" viewBox="0 0 12 12" aria-hidden="true"><path class="bad" d="M2 2l8 8m0-8l-8 8" stroke-width="2.5"></path></svg><span class="hand">no &lt;sync&gt;</span></span>"#
            ]],
        );
        check(
            &state(&cell(CellState::ToTake, "", None)),
            expect![[
                r#"<span class="state untaken"><svg class="mark" viewBox="0 0 12 12" aria-hidden="true"><circle class="edge" cx="6" cy="6" r="4.3" stroke-width="1.4"></circle></svg>to take</span>"#
            ]],
        );
        check(
            &state(&cell(CellState::None, "", None)),
            expect![[
                r#"<span class="state skipped"><svg class="mark" viewBox="0 0 12 12" aria-hidden="true"><path class="edge" d="M1.5 6h9" stroke-width="1.8"></path></svg><span class="unseen">not on this board</span></span>"#
            ]],
        );
    }

    #[test]
    fn a_tag_is_a_link() {
        check(
            &tag("T-03"),
            expect![[r#"<a class="tag" href="/machine/T-03">T-03</a>"#]],
        );
        check(
            &tag("odd/tag <1>"),
            expect![[
                r#"<a class="tag" href="/machine/odd%2Ftag%20%3C1%3E">odd/tag &lt;1&gt;</a>"#
            ]],
        );
    }

    #[test]
    fn ledger_lines() {
        check(
            &ledger_line("63 %", Some("was 41 %"), "U9 is dead."),
            expect!["<li><span>63 %<small>was 41~%</small></span><div>U9 is dead.</div></li>"],
        );
        check(
            &sum_line("0.00", "nothing", false),
            expect![[r#"<li class=""><span class="nil">0.00</span><div>nothing</div></li>"#]],
        );
        check(
            &sum_line("480.03", "left over", true),
            expect![[
                r#"<li class="total"><span class="">480.03</span><div><strong>left over</strong></div></li>"#
            ]],
        );
    }
}
