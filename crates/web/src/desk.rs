//! Addresses of offers, the drawer, parcels that came in, and donors.

use std::collections::BTreeMap;

use axum::{
    Form, Json, Router,
    extract::{Path, Query, State},
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
    routing::{get, post},
};
use workshop::{
    Error, ErrorKind, OffersIn, PlanLimits, Receive, StockChange, Strip, Workshop,
    views::{CameIn, ParcelView},
};

use crate::{
    forms::SaidQuery,
    pages::{Sheet, offers, receive, stock, strip},
    parts::card_address,
    routes::{Asked, in_background, status},
    said::Said,
    state::AppState,
};

/// A form as it came: names and values.
type Fields = BTreeMap<String, String>;

/// The addresses.
pub(crate) fn routes() -> Router<AppState> {
    Router::new()
        .route("/offers", get(show_offers).post(read_offers))
        .route("/offers/{item}", get(show_history))
        .route("/stock", get(show_stock).post(change_stock))
        .route(
            "/parcels/{letter}/received",
            get(show_parcel).post(write_received),
        )
        .route("/parcels/without", post(leave_out))
        .route("/machine/{tag}/strip", get(show_donor).post(write_strip))
        .route("/api/offers", get(api_offers))
        .route("/api/stock", get(api_stock))
}

fn field(fields: &Fields, name: &str) -> String {
    fields.get(name).cloned().unwrap_or_default()
}

async fn api_offers(State(state): State<AppState>) -> Response {
    answer(in_background(&state, Workshop::offers).await)
}

async fn api_stock(State(state): State<AppState>) -> Response {
    answer(in_background(&state, Workshop::stock).await)
}

fn answer<T: serde::Serialize>(view: Result<T, Error>) -> Response {
    match view {
        Ok(view) => Json(view).into_response(),
        Err(error) => (status(&error), error.message).into_response(),
    }
}

/// `GET /offers`.
async fn show_offers(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/offers", &query.said);
    offers_page(
        &asked,
        StatusCode::OK,
        &offers::Fields::default(),
        offers::Look::default(),
    )
    .await
}

async fn offers_page(
    asked: &Asked,
    code: StatusCode,
    fields: &offers::Fields,
    look: offers::Look<'_>,
) -> Response {
    match in_background(&asked.state, Workshop::offers).await {
        Ok(view) => asked.page(code, |setting| offers::offers(setting, &view, fields, look)),
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `POST /offers`: shows how prices are read, or takes them.
async fn read_offers(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<Fields>,
) -> Response {
    let asked = Asked::new(state, &headers, "/offers", "");
    let fields = offers::Fields {
        vendor: field(&form, "vendor"),
        text: field(&form, "text"),
        columns: field(&form, "columns"),
    };
    let take = form.contains_key("take");
    let items = form.iter().filter_map(|(name, item)| {
        let line = name.strip_prefix("item-")?.parse().ok()?;
        Some((line, item.clone()))
    });
    let request = OffersIn {
        vendor: fields.vendor.clone(),
        text: fields.text.clone().into_bytes(),
        columns: Some(fields.columns.clone()),
        // an item named for a line belongs to the text as it was shown
        items: if take { items.collect() } else { Vec::new() },
        take,
        ..OffersIn::default()
    };
    match in_background(&asked.state, move |workshop| workshop.offers_in(&request)).await {
        Ok(read) if take => {
            let said = Said {
                sentences: vec![read.heading],
                lines: read.lines,
                ..Said::default()
            };
            asked.see(said, "/offers#main")
        }
        Ok(read) => {
            let look = offers::Look {
                read: Some(&read),
                error: None,
            };
            offers_page(&asked, StatusCode::OK, &fields, look).await
        }
        Err(error) => {
            let look = offers::Look {
                read: None,
                error: Some(&error),
            };
            offers_page(&asked, status(&error), &fields, look).await
        }
    }
}

/// `GET /offers/4164-150ns`.
async fn show_history(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(item): Path<String>,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/offers", &query.said);
    match in_background(&asked.state, move |workshop| workshop.history(&item)).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| offers::history(setting, &view)),
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `GET /stock`.
async fn show_stock(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/stock", &query.said);
    stock_page(&asked, StatusCode::OK, stock::Entry::default()).await
}

async fn stock_page(asked: &Asked, code: StatusCode, entry: stock::Entry<'_>) -> Response {
    match in_background(&asked.state, Workshop::stock).await {
        Ok(view) => asked.page(code, |setting| stock::stock(setting, &view, entry)),
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `POST /stock`: something in or out by hand.
async fn change_stock(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<Fields>,
) -> Response {
    let asked = Asked::new(state, &headers, "/stock", "");
    let (what, works, note) = (
        field(&form, "what"),
        field(&form, "works"),
        field(&form, "note"),
    );
    let change = StockChange {
        what: what.clone(),
        out: field(&form, "way") == "out",
        works: Some(works.clone()),
        note: note.clone(),
    };
    let way = field(&form, "way");
    let write = move |workshop: &Workshop| match way.as_str() {
        "built" => workshop.built(&change.what),
        "wish" => workshop.wish(&change.what, false),
        "no-wish" => workshop.wish(&change.what, true),
        _ => workshop.keep(&change),
    };
    match in_background(&asked.state, write).await {
        Ok(written) => {
            let said = Said {
                sentences: vec![written.changed],
                lines: written.lines,
                ..Said::default()
            };
            asked.see(said, "/stock#main")
        }
        Err(error) => {
            let entry = stock::Entry {
                what: &what,
                works: &works,
                note: &note,
                error: Some(&error),
            };
            stock_page(&asked, status(&error), entry).await
        }
    }
}

/// The parcel with this letter, and what is still to come of it, a line each.
fn coming(workshop: &Workshop, letter: &str) -> Result<(ParcelView, String), Error> {
    let ledger = workshop.order(&PlanLimits::default())?;
    let parcel = ledger
        .parcels
        .into_iter()
        .find(|parcel| parcel.letter == letter && parcel.ordered.is_some());
    let parcel = parcel.ok_or_else(|| {
        Error::new(
            ErrorKind::NotFound,
            format!("no parcel `{letter}` is on its way"),
        )
        .hint("write first that it was ordered")
    })?;
    let stock = workshop.stock()?;
    let name = format!("parcel {letter}, ");
    let rows = stock
        .coming
        .iter()
        .filter(|row| row.from.starts_with(&name));
    let lines: Vec<String> = rows
        .map(|row| format!("{} {}", row.amount, row.what))
        .collect();
    Ok((parcel, lines.join("\n")))
}

/// `GET /parcels/A/received`.
async fn show_parcel(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(letter): Path<String>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", "");
    match in_background(&asked.state, move |workshop| coming(workshop, &letter)).await {
        Ok((parcel, what)) => asked.page(StatusCode::OK, |setting| {
            let entry = receive::Entry {
                what: &what,
                ..receive::Entry::default()
            };
            receive::receive(setting, &parcel, entry)
        }),
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `POST /parcels/A/received`: books it in.
async fn write_received(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(letter): Path<String>,
    Form(form): Form<Fields>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", "");
    let (what, way) = (field(&form, "what"), field(&form, "way"));
    let nothing = what.trim().is_empty() && way != "closed";
    let request = Receive {
        letter: letter.clone(),
        what: what.clone(),
        closed: way == "closed",
        dry_run: way == "look",
    };
    let came = in_background(&asked.state, move |workshop| {
        if nothing {
            return Err(
                Error::new(ErrorKind::Usage, "expected what was in it, found nothing")
                    .hint("if it was empty, and nothing more will come, use the second button"),
            );
        }
        workshop.receive(&request)
    });
    match came.await {
        Ok(came) if way != "look" => asked.see(said(came), "/parcels#main"),
        outcome => {
            let parcel =
                in_background(&asked.state, move |workshop| coming(workshop, &letter)).await;
            let (code, entry) = match &outcome {
                Ok(came) => (
                    StatusCode::OK,
                    receive::Entry {
                        what: &what,
                        would: Some(came),
                        error: None,
                    },
                ),
                Err(error) => (
                    status(error),
                    receive::Entry {
                        what: &what,
                        would: None,
                        error: Some(error),
                    },
                ),
            };
            match parcel {
                Ok((parcel, _)) => {
                    asked.page(code, |setting| receive::receive(setting, &parcel, entry))
                }
                Err(error) => asked.error(Sheet::Parcels, &error).await,
            }
        }
    }
}

fn said(came: CameIn) -> Said {
    let mut sentences = vec![came.heading];
    if !came.wrong.is_empty() {
        sentences.push(format!(
            "Not ordered, kept all the same: {}.",
            came.wrong.join(", ")
        ));
    }
    sentences.extend(came.waits);
    Said {
        sentences,
        lines: came.lines,
        ..Said::default()
    }
}

/// `POST /parcels/without`: a vendor is left out, or asked again.
async fn leave_out(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<Fields>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", "");
    let (vendor, out) = (field(&form, "vendor"), field(&form, "out") == "1");
    match in_background(&asked.state, move |workshop| {
        workshop.leave_out(&vendor, out)
    })
    .await
    {
        Ok(written) => {
            let said = Said {
                sentences: vec![written.changed],
                lines: written.lines,
                ..Said::default()
            };
            asked.see(said, "/parcels#main")
        }
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `GET /machine/T-06/strip`.
async fn show_donor(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
) -> Response {
    let here = format!("{}/strip", card_address(&tag));
    let asked = Asked::new(state, &headers, here, "");
    let donor = Strip {
        tag,
        ..Strip::default()
    };
    match in_background(&asked.state, move |workshop| workshop.strip(&donor)).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| strip::strip(setting, &view, None)),
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `POST /machine/T-06/strip`: the ticked chips came out.
async fn write_strip(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<Fields>,
) -> Response {
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let parts: Vec<String> = form
        .keys()
        .filter_map(|name| name.strip_prefix("part-"))
        .map(str::to_owned)
        .collect();
    let donor = Strip {
        tag: tag.clone(),
        take: !parts.is_empty(),
        parts,
        soldered: false,
    };
    let ticked = donor.take;
    match in_background(&asked.state, move |workshop| workshop.strip(&donor)).await {
        Ok(view) if ticked => {
            let said = Said {
                sentences: vec![view.heading],
                lines: view.lines,
                ..Said::default()
            };
            asked.see(said, &card_address(&tag))
        }
        Ok(view) => {
            let error = Error::new(
                ErrorKind::Usage,
                "expected at least one chip, found none ticked",
            );
            asked.page(status(&error), |setting| {
                strip::strip(setting, &view, Some(&error))
            })
        }
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}
