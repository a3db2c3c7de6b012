//! Views of offers, the drawer, a parcel that came in and a donor, for tests of the pages.

use workshop::views::{
    CameIn, History, OfferRow, OffersRead, OffersView, PastPrice, ReadRow, StockRow, StockView,
    StripRow, StripView, VendorOffers,
};

use crate::pages::offers::Fields;

pub(crate) fn offers() -> OffersView {
    let offer = |title: &str, days: i64, old: bool| OfferRow {
        item: "4164-150ns".into(),
        title: title.into(),
        price: "3.90".into(),
        more: "3.40 each from 8; 40 there".into(),
        seen: "10 November".into(),
        days: Some(days),
        old,
    };
    OffersView {
        heading: "Two offers of one vendor, 1 to ask again.".into(),
        ask_again_days: 14,
        vendors: vec![VendorOffers {
            id: "northgate".into(),
            title: "northgate".into(),
            terms: "Prices in EUR, here in four days; postage 6.50, free from 60.00.".into(),
            offers: vec![offer("4164, 150 ns", 2, false), offer("74LS04", 18, true)],
        }],
    }
}

pub(crate) fn pasted() -> Fields {
    Fields {
        vendor: "northgate".into(),
        text: "name;each\n4164, 150 ns;3,90".into(),
        columns: "name, each".into(),
    }
}

pub(crate) fn read() -> OffersRead {
    OffersRead {
        heading: "One price of northgate is understood, seen on 12 November; one line is not."
            .into(),
        vendor: "northgate".into(),
        columns: vec![
            ("name".into(), "name".into()),
            ("each".into(), "each".into()),
        ],
        rows: vec![ReadRow {
            line: 2,
            item: "4164-150ns".into(),
            wanted: false,
            title: "4164, 150 ns".into(),
            price: "3.90".into(),
            more: "3.40 each from 8".into(),
            before: "was 3.60".into(),
            doubt: "8 cost 3.95 each, more than 1 at 3.90; look whether that is a slip.".into(),
        }],
        notes: vec!["2 columns between semicolons.".into()],
        refused: vec!["Line 4: expected a price above 0, found `-0.20`.".into()],
        lines: Vec::new(),
    }
}

pub(crate) fn history() -> History {
    let past = |days_ago: i64, vendor: &str, coins: i64| PastPrice {
        day: format!("2026-11-{:02}", 12 - days_ago),
        days_ago,
        vendor: vendor.into(),
        price: format!("{}.{:02}", coins / 100, coins % 100),
        coins,
        at: String::new(),
    };
    History {
        item: "4164-150ns".into(),
        title: "4164, 150 ns".into(),
        heading: "3.40 now at northgate; least so far 2.60 at lowtide surplus on 3 November."
            .into(),
        currency: "EUR".into(),
        prices: vec![
            past(9, "lowtide surplus", 260),
            past(2, "northgate", 390),
            past(0, "northgate", 340),
        ],
    }
}

pub(crate) fn stock() -> StockView {
    let row = |amount: &str, what: &str, mark: Option<&str>, from: &str| StockRow {
        amount: amount.into(),
        what: what.into(),
        mark: mark.map(str::to_owned),
        from: from.into(),
        works: mark.map(|_| 0.97),
    };
    StockView {
        heading: "Two things in the drawer, one parcel on the way.".into(),
        things: vec![row("3 ×", "4164-150ns", None, "parcel A, northgate")],
        chips: vec![row("97 %", "z80a", Some("T-06.U1"), "T-06 U1")],
        coming: vec![row("1 ×", "ov-2-used", None, "parcel B, farside parts")],
        wishes: vec![row(
            "5 ×",
            "dip-socket-40",
            None,
            "ordered along where the order gets no dearer",
        )],
        used_later: vec![row("0.12 ×", "4164, 150 ns", None, "on average in 3 years")],
        waits: vec!["T-02 can be worked on now: what it needs lies in the drawer.".into()],
    }
}

pub(crate) fn came_in() -> CameIn {
    CameIn {
        heading: "Parcel A, northgate came in in part; one line is still to come.".into(),
        came: vec!["3 × 4164-150ns".into()],
        wrong: vec!["2 × 74ls04-dip14".into()],
        missing: vec!["1 × ov-2-used".into()],
        waits: Vec::new(),
        lines: Vec::new(),
    }
}

pub(crate) fn strip() -> StripView {
    let row = |part: &str, note: &str| StripRow {
        part: part.into(),
        device: "z80a".into(),
        good: 0.97,
        mark: format!("T-06.{part}"),
        note: note.into(),
    };
    StripView {
        heading: "One chip of T-06 would go into the drawer, 2 min of work.".into(),
        tag: "T-06".into(),
        plan: "The plan gives it up too, for T-03.".into(),
        chips: vec![row("U1", "")],
        left: vec![row("U9", "soldered in")],
        minutes: 2.0,
        lines: Vec::new(),
    }
}
