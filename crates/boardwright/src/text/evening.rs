//! This evening's plan: a few lines a machine, then the decision over the pile and its parcels.

use super::bench::money;
use super::card::doubtful;
use super::words::{chance, minutes};
use super::{parcels, plan};
use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{Bench, JobCard, Ledger, PlanView};

/// Suspects told of each machine.
const SUSPECTS: usize = 3;
/// Suspects below this are not worth a line here.
const WORTH_A_LINE: f64 = 0.03;

/// This evening's plan.
pub(crate) fn evening(
    folder: &str,
    bench: &Bench,
    cards: &[JobCard],
    decision: &PlanView,
    order: &Ledger,
) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading("This evening's plan for a pile that is invented.");
    sheet.text(say(
        Voice::Soft,
        format!(
            "It lives in `{folder}`; look closer with `boardwright --workshop {folder} show T-03`."
        ),
    ));
    sheet.text(money(&bench.money));
    for card in cards {
        brief(&mut sheet, card);
    }
    sheet.append(plan(decision));
    sheet.append(parcels(order));
    sheet
}

fn brief(sheet: &mut Sheet, card: &JobCard) {
    sheet.gap();
    sheet.text(say(
        Voice::Strong,
        format!("{}: {}", card.tag, card.heading),
    ));
    let telling = card
        .suspects
        .iter()
        .filter(|suspect| suspect.chance >= WORTH_A_LINE);
    for suspect in telling.take(SUSPECTS) {
        sheet.row(Row::new(chance(suspect.chance), suspect.title.as_str()));
    }
    if let Some(doubt) = &card.doubt {
        sheet.row(Row::new(say(Voice::Doubt, "◐"), doubtful(doubt)));
    }
    for step in &card.next {
        let text = say(Voice::Plain, step.title.as_str())
            .say(Voice::Soft, format!(" Saves {}.", step.saves));
        sheet.row(Row::new(say(Voice::Soft, minutes(step.minutes)), text));
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn as_text() {
        let text = evening(
            "boardwright-demo",
            &samples::bench(),
            &[samples::card()],
            &samples::plan(),
            &samples::ledger(),
        )
        .render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
            This evening's plan for a pile that is invented.
            It lives in `boardwright-demo`; look closer with `boardwright --workshop
            boardwright-demo show T-03`.
            270.00 paid for the lot. The plan spends 73.67 more in two parcels and
            3 h 55 min; then 3.28 of 4 are expected to work, worth 829.30.

            T-03: The program runs, the picture stays black: most likely U9.
                63 % │ U9, the video controller, is dead.
                15 % │ The socket of U9 makes no contact.
                   ◐ │ Take this again: The dot clock of 8.31 MHz does not fit the rest:
                     │ with all other findings it had a chance of 1 in 240.
               2 min │ Take the dot clock again at U9 pin 22. Saves 7.90.
             4.5 min │ Look at sync on U14 pin 4. Saves 3.10.

            Spend 73.67 and two evenings; seven of nine should work.
            Proven: nothing better exists within 120.00 and three evenings.
                0.00 │ Settled: T-06 donor. T-06 is given up; that costs nothing.

            What to do with each
                0.00 │ T-01 Works.
               14.50 │ T-02 Repair now. A new certified 9 V supply, then regulator U30 only
                     │ if 5 V is still low.

            Beside these
               17.47 │ Postage 11.40 and import tax 6.07, in two parcels.

            How it adds up
              829.30 │ worth when done, nine machines
             −349.27 │ money and minutes
             ─────── ┼─────
              480.03 │ left over

            Spares
                1.20 │ One more 4164 for 3.90.

            The money curve
                0.00 │ leaves 300.00, 2.00 expected to work
               73.67 │ leaves 480.03, 7.28 expected to work; this plan
               90.00 │ leaves 470.00, 7.30 expected to work; not proven
            Where a plan is not proven, a better one may exist.

            Simple rules on the same pile
              −48.93 │ cheapest first: spends 96.20, 6.90 expected to work

            What would change it
               27.39 │ A used U9 dearer than this: buy new old stock.

            What another decision costs
              −82.80 │ T-02 left as it is.

            To know
            Nobody sells U14.

            One parcel, 32.70 landed.
            Proven: nothing cheaper exists among the offers of four vendors asked so far.

            Parcel A, northgate
            Landed 32.70, on the bench Tuesday 17 November. T-02 and T-04 wait for it.
            Ordered on 12 Nov by Ines.
               14.50 │ 1 × 9 V 1.5 A supply, certified; for T-02
               11.70 │ 3 × 4164, 150 ns at 3.90; for T-04 two, one spare
                6.50 │ postage; free from 60.00, that is 33.80 away
             ─────── ┼─────
               32.70 │ landed

            Why these
               +4.10 │ The supply from kettle & sons instead.
            A parcel also counts 3.00 of bother when choosing; it is not in the sums.

            At these prices the order turns
               27.39 │ Video controller U9 at farside parts, 24.00 now: up to here the
                     │ choice stays.

            What waits for a parcel
               88.10 │ Parcel A, northgate: while it is late, T-02 waits; mended, it is
                     │ worth this much more.
            Left out: kettle & sons.

            Ask again
             18 days │ The price of U9 at farside parts was seen on 25 October.

            Nobody sells
            U14, picture output

            32.70 landed; of your 120.00 there remain 87.30.
        "#]]
        .assert_eq(&text);
    }
}
