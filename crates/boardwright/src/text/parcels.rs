//! The parcel ledger as text: a block a parcel, in sentences.

use super::plan::sums;
use super::words::{count, list};
use crate::sheet::{Row, Sheet, Voice, say};
use workshop::views::{Ledger, ParcelView};

/// The parcel ledger.
pub(crate) fn parcels(view: &Ledger) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    sheet.text(if view.proven {
        say(Voice::Plain, view.proof.as_str())
    } else {
        say(Voice::Doubt, view.proof.as_str())
    });
    for parcel in &view.parcels {
        block(&mut sheet, parcel);
    }
    sums(&mut sheet, "Why these", &view.why, false);
    if !view.parcels.is_empty() {
        sheet.text(say(Voice::Soft, view.bother.as_str()));
    }
    sums(
        &mut sheet,
        "At these prices the order turns",
        &view.turns,
        false,
    );
    sums(&mut sheet, "What waits for a parcel", &view.late, false);
    if !view.left_out.is_empty() {
        let names: Vec<String> = view
            .left_out
            .iter()
            .map(|(_, title)| title.clone())
            .collect();
        sheet.text(say(Voice::Hand, format!("Left out: {}.", list(&names))));
    }
    if !view.ask_again.is_empty() {
        sheet.label("Ask again");
        for (days, text) in &view.ask_again {
            let days = usize::try_from(*days).unwrap_or_default();
            sheet.row(Row::new(count(days, "day", "days"), text.as_str()));
        }
    }
    if !view.unmet.is_empty() {
        sheet.label("Nobody sells");
        for line in &view.unmet {
            sheet.text(line.as_str());
        }
    }
    if let (Some(remains), Some(limit)) = (&view.remains, &view.money_limit) {
        sheet.gap();
        sheet.text(format!(
            "{} landed; of your {limit} there remain {remains}.",
            view.landed
        ));
    }
    sheet
}

fn block(sheet: &mut Sheet, parcel: &ParcelView) {
    sheet.gap();
    sheet.heading(format!("Parcel {}, {}", parcel.letter, parcel.vendor));
    let waits = match parcel.waiting.as_slice() {
        [] => String::new(),
        [one] => format!(" {one} waits for it."),
        many => format!(" {} wait for it.", list(many)),
    };
    sheet.text(format!(
        "Landed {}, on the bench {}.{waits}",
        parcel.landed, parcel.arrives
    ));
    if let Some(ordered) = &parcel.ordered {
        sheet.text(say(Voice::Hand, format!("Ordered {ordered}.")));
        if let Some(received) = &parcel.received {
            sheet.text(say(Voice::Hand, format!("Came in {received}.")));
            if !parcel.to_come.is_empty() {
                sheet.text(format!("Still to come: {}.", list(&parcel.to_come)));
            }
        }
    }
    for line in &parcel.lines {
        let note = if line.note.is_empty() {
            String::new()
        } else {
            format!("; {}", line.note)
        };
        sheet.row(Row::new(
            line.amount.as_str(),
            say(Voice::Plain, line.text.as_str()).say(Voice::Soft, note),
        ));
    }
    sheet.rule();
    sheet.row(Row::new(
        say(Voice::Strong, parcel.landed.as_str()),
        say(Voice::Strong, "landed"),
    ));
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::sheet::Paper;
    use expect_test::expect;

    #[test]
    fn as_text() {
        let text = parcels(&samples::ledger()).render(Paper {
            width: 80,
            colour: false,
        });
        expect![[r#"
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
