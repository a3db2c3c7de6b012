//! Addresses and their handlers: extract, ask the workshop, make the page.

mod boards;

use axum::{
    Form, Router,
    extract::{DefaultBodyLimit, Path, Query, State},
    http::{HeaderMap, StatusCode, Uri, header},
    middleware,
    response::{Html, IntoResponse, Redirect, Response},
    routing::{get, post},
};
use maud::Markup;
use workshop::{Error, ErrorKind, PlanLimits, Power, Shelf, Workshop, views::Written};

use crate::{
    api, assets, desk,
    forms::{
        ActForm, BenchQuery, CardQuery, FindingForm, IfQuery, LimitsForm, PowerForm, ReadQuery,
        RoundForm, SaidQuery, SettleForm, ShelfForm, TakeInForm, ThemeForm, TruthForm, UndoForm,
        back, lines, meanings,
    },
    guard,
    pages::{
        Refused, Setting, Sheet, Supposed, Theme, bench, card, missing, parcels, plan, rounds,
        take_in,
    },
    parts::{card_address, cell_address},
    said::Said,
    state::AppState,
};

/// Longest form accepted: a pasted column and a page of exceptions fit many times over.
const FORM_LIMIT: usize = 64 * 1024;

/// All pages of this workshop.
pub fn app(state: AppState) -> Router {
    Router::new()
        .route("/", get(home))
        .route("/bench", get(show_bench))
        .route("/round", post(write_round))
        .route("/rounds", get(show_rounds))
        .route("/machine/{tag}", get(show_card).post(write_finding))
        .route("/machine/{tag}/act", post(write_act))
        .route("/machine/{tag}/settle", post(write_truth))
        .route("/machine/{tag}/power", post(write_power))
        .route("/machine/{tag}/shelve", post(write_shelf))
        .route("/undo", post(undo))
        .route("/read", get(read))
        .route("/plan", get(show_plan).post(set_limits))
        .route("/plan/settle", post(settle_plan))
        .route("/parcels", get(show_parcels))
        .route("/parcels/{letter}", get(parcel_list))
        .route("/parcels/{letter}/ordered", post(write_ordered))
        .route("/take-in", get(show_take_in).post(write_take_in))
        .merge(boards::router())
        .route("/theme", post(set_theme))
        .route("/assets/{name}", get(assets::asset))
        .route("/api/bench", get(api::bench))
        .route("/api/rounds", get(api::rounds))
        .route("/api/machine/{tag}", get(api::card))
        .route("/api/machine/{tag}/what-if", get(api::what_if))
        .route("/api/plan", get(api::plan))
        .route("/api/parcels", get(api::parcels))
        .route("/api/boards", get(api::boards))
        .merge(desk::routes())
        .fallback(no_such_page)
        .layer(DefaultBodyLimit::max(FORM_LIMIT))
        .layer(middleware::from_fn_with_state(state.clone(), guard::guard))
        .with_state(state)
}

/// Runs workshop work off the async threads; a panic there becomes an error of that one page.
pub(crate) async fn in_background<T: Send + 'static>(
    state: &AppState,
    work: impl FnOnce(&Workshop) -> Result<T, Error> + Send + 'static,
) -> Result<T, Error> {
    state.ask();
    let workshop = state.workshop.clone();
    tokio::task::spawn_blocking(move || work(&workshop)).await.unwrap_or_else(|_| {
        Err(Error::new(ErrorKind::Internal, "the program failed while working this out")
            .hint("reload the page; if it fails again, the last line written may be the cause: take it back"))
    })
}

/// The HTTP status of an error.
pub(crate) fn status(error: &Error) -> StatusCode {
    match error.kind {
        ErrorKind::Usage | ErrorKind::Refused => StatusCode::UNPROCESSABLE_ENTITY,
        ErrorKind::NotFound => StatusCode::NOT_FOUND,
        ErrorKind::Conflict => StatusCode::CONFLICT,
        ErrorKind::Io | ErrorKind::Internal => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

/// What a page needs from its request.
pub(crate) struct Asked {
    pub(crate) state: AppState,
    theme: Theme,
    said: Option<Said>,
    here: String,
}

impl Asked {
    pub(crate) fn new(
        state: AppState,
        headers: &HeaderMap,
        here: impl Into<String>,
        said: &str,
    ) -> Asked {
        let said = state.sayings.find(said);
        Asked {
            state,
            theme: theme(headers),
            said,
            here: here.into(),
        }
    }

    /// Makes a page.
    pub(crate) fn page(
        &self,
        code: StatusCode,
        make: impl FnOnce(&Setting<'_>) -> Markup,
    ) -> Response {
        let frame = self.state.workshop.frame();
        let setting = Setting {
            frame: &frame,
            theme: self.theme,
            said: self.said.as_ref(),
            here: &self.here,
        };
        (code, Html(make(&setting).into_string())).into_response()
    }

    /// A whole page for an error: what is missing names the machines there are.
    pub(crate) async fn error(&self, sheet: Sheet, error: &Error) -> Response {
        if error.kind != ErrorKind::NotFound {
            return self.page(status(error), |setting| {
                missing::failed(setting, sheet, error)
            });
        }
        let bench = in_background(&self.state, Workshop::bench).await;
        let tags: Vec<String> = bench
            .map(|bench| bench.rows.into_iter().map(|row| row.tag).collect())
            .unwrap_or_default();
        self.page(StatusCode::NOT_FOUND, |setting| {
            missing::missing(setting, error, &tags)
        })
    }

    /// Keeps what was said and goes to a page that shows it.
    pub(crate) fn see(&self, said: Said, address: &str) -> Response {
        let id = self.state.sayings.keep(said);
        Redirect::to(&with_said(address, &id)).into_response()
    }
}

/// Adds `said=` to an address, before its `#` if it has one, in place of an older one.
fn with_said(address: &str, id: &str) -> String {
    let (path, anchor) = address
        .split_once('#')
        .map_or((address, String::new()), |(path, anchor)| {
            (path, format!("#{anchor}"))
        });
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let kept = query
        .split('&')
        .filter(|pair| !pair.is_empty() && !pair.starts_with("said="));
    let query: Vec<String> = kept
        .map(str::to_owned)
        .chain([format!("said={id}")])
        .collect();
    format!("{path}?{}{anchor}", query.join("&"))
}

/// The address of a request without what was said, for forms that come back.
fn here(uri: &Uri) -> String {
    let query = uri.query().unwrap_or_default();
    let kept: Vec<&str> = query
        .split('&')
        .filter(|pair| !pair.is_empty() && !pair.starts_with("said="))
        .collect();
    if kept.is_empty() {
        uri.path().to_owned()
    } else {
        format!("{}?{}", uri.path(), kept.join("&"))
    }
}

fn theme(headers: &HeaderMap) -> Theme {
    let cookies = headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok());
    let mut pairs = cookies
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='));
    pairs
        .find(|(name, _)| *name == "theme")
        .map(|(_, word)| Theme::from_word(word))
        .unwrap_or_default()
}

/// `GET /`: the bench plan, or the first page while nothing is taken in.
async fn home(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/", &query.said);
    match in_background(&asked.state, Workshop::is_empty).await {
        Ok(true) => {
            take_in_page(
                &asked,
                StatusCode::OK,
                &take_in::Fields::default(),
                Outcome::Nothing,
            )
            .await
        }
        Ok(false) => bench_page(&asked, None, None).await,
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `GET /bench?check=reset&machine=T-05`.
async fn show_bench(
    State(state): State<AppState>,
    headers: HeaderMap,
    uri: Uri,
    Query(query): Query<BenchQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, here(&uri), &query.said);
    bench_page(&asked, query.check, query.machine).await
}

async fn bench_page(asked: &Asked, check: Option<String>, machine: Option<String>) -> Response {
    let opened = check.is_some();
    let view = in_background(&asked.state, move |workshop| match check {
        Some(check) => workshop.bench_on(&check),
        None => workshop.bench(),
    });
    match view.await {
        Ok(view) => {
            let open = bench::Open {
                machine: machine.as_deref(),
                asked: opened,
                refused: None,
            };
            asked.page(StatusCode::OK, |setting| {
                bench::bench(setting, &view, &open)
            })
        }
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `POST /round`: writes the open cell and opens the next machine's.
async fn write_round(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<RoundForm>,
) -> Response {
    let RoundForm {
        check,
        machine,
        value,
        word,
        next,
    } = form;
    let here = cell_address(&check, Some(&machine));
    let asked = Asked::new(state, &headers, here, "");
    let typed = word.clone().unwrap_or(value);
    let column = word.is_none() && typed.contains('=');
    let (of, tag, value) = (check.clone(), machine.clone(), typed.trim().to_owned());
    let written = in_background(&asked.state, move |workshop| {
        if column {
            workshop.round_line(&of, &value)
        } else {
            workshop.round(&of, &[(tag, value)])
        }
    });
    match written.await {
        Ok(written) => {
            let address = match next.filter(|next| !next.is_empty()) {
                None => "/#main".to_owned(),
                Some(_) if column => cell_address(&check, None),
                Some(next) => cell_address(&check, Some(&next)),
            };
            asked.see(said_of(written, Some(machine)), &address)
        }
        Err(error) if error.kind == ErrorKind::Internal => asked.error(Sheet::Bench, &error).await,
        Err(error) => refused_round(&asked, &check, &machine, &typed, &error).await,
    }
}

async fn refused_round(
    asked: &Asked,
    check: &str,
    machine: &str,
    typed: &str,
    error: &Error,
) -> Response {
    let of = check.to_owned();
    match in_background(&asked.state, move |workshop| workshop.bench_on(&of)).await {
        Ok(view) => {
            let open = bench::Open {
                machine: Some(machine),
                asked: true,
                refused: Some(Refused { typed, error }),
            };
            asked.page(status(error), |setting| bench::bench(setting, &view, &open))
        }
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

fn said_of(written: Written, tag: Option<String>) -> Said {
    let Written {
        lines,
        understood,
        changed,
    } = written;
    let sentences = understood
        .into_iter()
        .map(|one| format!("Written: {}.", one.sentence.trim_end_matches('.')))
        .collect();
    Said {
        tag,
        sentences,
        changed,
        lines,
    }
}

/// `GET /machine/{tag}`.
async fn show_card(
    State(state): State<AppState>,
    headers: HeaderMap,
    uri: Uri,
    Path(tag): Path<String>,
    Query(query): Query<CardQuery>,
    Query(supposed): Query<IfQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, here(&uri), &query.said);
    let supposed = supposed.line();
    let CardQuery { check, line, .. } = query;
    let of = check.clone();
    let typed = line.clone();
    let question = supposed.clone();
    let view = in_background(&asked.state, move |workshop| {
        let card = workshop.card(&tag)?;
        let what_if = (!question.is_empty()).then(|| workshop.what_if(&tag, &question));
        let read = if typed.trim().is_empty() {
            Vec::new()
        } else {
            understand(workshop, &tag, of.as_deref(), &typed).unwrap_or_default()
        };
        Ok((card, read, what_if))
    });
    match view.await {
        Ok((view, read, what_if)) => {
            reckon_ahead(&asked.state, &view.tag);
            let code = what_if
                .as_ref()
                .and_then(|found| found.as_ref().err())
                .map_or(StatusCode::OK, status);
            let entry = card::Entry {
                check: check.as_deref(),
                typed: &line,
                read: &read,
                asked: check.is_some(),
                supposed: what_if.as_ref().map(|found| Supposed {
                    asked: &supposed,
                    found: found.as_ref(),
                }),
                ..card::Entry::default()
            };
            asked.page(code, |setting| card::card(setting, &view, &entry))
        }
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// Gets the next card of a machine ready while somebody works at it, until something else is asked for.
fn reckon_ahead(state: &AppState, tag: &str) {
    let (workshop, tag, quiet) = (state.workshop.clone(), tag.to_string(), state.quiet());
    drop(tokio::task::spawn_blocking(move || {
        workshop.reckon_ahead(&tag, quiet)
    }));
}

/// How a line is read: of the check in hand if that makes sense, else as it is.
fn understand(
    workshop: &Workshop,
    tag: &str,
    check: Option<&str>,
    line: &str,
) -> Result<Vec<workshop::views::Understood>, Error> {
    first_good(check, line, |line| workshop.understand(tag, line))
}

/// Tries the meanings of a line in turn; if none is good, the error is of the line as typed when it names
/// something itself, else of the check in hand.
fn first_good<T>(
    check: Option<&str>,
    line: &str,
    try_one: impl Fn(&str) -> Result<T, Error>,
) -> Result<T, Error> {
    let meanings = meanings(check, line);
    let mut errors = Vec::new();
    for meaning in &meanings {
        match try_one(meaning) {
            Ok(good) => return Ok(good),
            Err(error) if matches!(error.kind, ErrorKind::Usage | ErrorKind::NotFound) => {
                errors.push(error)
            }
            Err(error) => return Err(error),
        }
    }
    let names_a_check = line.trim().contains(' ');
    let shown = if names_a_check {
        errors.pop()
    } else {
        errors.into_iter().next()
    };
    Err(shown.unwrap_or_else(|| Error::new(ErrorKind::Usage, "expected a finding, found nothing")))
}

/// `POST /machine/{tag}`: writes the findings of a line.
async fn write_finding(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<FindingForm>,
) -> Response {
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let FindingForm { check, line, word } = form;
    let typed = word.clone().unwrap_or(line);
    let (of, machine, text) = (check.clone(), tag.clone(), typed.clone());
    let written = in_background(&asked.state, move |workshop| match (word, of.as_deref()) {
        (Some(word), Some(check)) => workshop.measure(&machine, &format!("{check} {word}")),
        (_, of) => {
            let line = first_good(of, &text, |line| {
                workshop.understand(&machine, line).map(|_| line.to_owned())
            })?;
            workshop.measure(&machine, &line)
        }
    });
    let address = card_address(&tag);
    match written.await {
        Ok(written) => asked.see(said_of(written, None), &address),
        Err(error) => {
            let entry = card::Entry {
                check: check.as_deref(),
                refused: Some((
                    card::Form::Finding,
                    Refused {
                        typed: &typed,
                        error: &error,
                    },
                )),
                ..card::Entry::default()
            };
            refused_card(&asked, tag, &error, &entry).await
        }
    }
}

/// The card again, with the sentence at the form; a machine that does not exist has no card.
async fn refused_card(
    asked: &Asked,
    tag: String,
    error: &Error,
    entry: &card::Entry<'_>,
) -> Response {
    match in_background(&asked.state, move |workshop| workshop.card(&tag)).await {
        Ok(view) => asked.page(status(error), |setting| card::card(setting, &view, entry)),
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `POST /machine/{tag}/act`.
async fn write_act(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<ActForm>,
) -> Response {
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let fields = form.fields();
    let machine = tag.clone();
    let written = match form.act() {
        Ok(act) => in_background(&asked.state, move |workshop| workshop.act(&machine, &act)).await,
        Err(error) => Err(error),
    };
    match written {
        Ok(written) => {
            let done = card::ACTS
                .iter()
                .find(|(id, _)| *id == fields.act)
                .map_or("", |(_, word)| word);
            let mut said = said_of(written, None);
            if said.sentences.is_empty() {
                let (part, what) = (fields.part.trim(), fields.what.trim());
                said.sentences.push(match fields.act.as_str() {
                    "swap" => format!("{done} {part} with {what}."),
                    "mend" => format!("{done}: {}.", format!("{part} {what}").trim()),
                    _ => format!("{done} {part}."),
                });
            }
            asked.see(said, &card_address(&tag))
        }
        Err(error) => {
            let refused = Refused {
                typed: &fields.part,
                error: &error,
            };
            let entry = card::Entry {
                refused: Some((card::Form::Act, refused)),
                act: Some(&fields),
                ..card::Entry::default()
            };
            refused_card(&asked, tag, &error, &entry).await
        }
    }
}

/// `POST /machine/{tag}/power`.
async fn write_power(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<PowerForm>,
) -> Response {
    let power = match form.power.as_str() {
        "on" => Power::On,
        "bench" => Power::OnBenchSupply,
        _ => Power::Off,
    };
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let machine = tag.clone();
    let written = in_background(&asked.state, move |workshop| {
        workshop.power(&machine, power)
    });
    noted(&asked, &tag, written.await).await
}

/// `POST /machine/{tag}/shelve`.
async fn write_shelf(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<ShelfForm>,
) -> Response {
    let shelf = match form.shelf.as_str() {
        "back" => Shelf::Back,
        _ => Shelf::Away,
    };
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let machine = tag.clone();
    let written = in_background(&asked.state, move |workshop| {
        workshop.shelve(&machine, shelf)
    });
    noted(&asked, &tag, written.await).await
}

/// Back to the card with what was said.
async fn noted(asked: &Asked, tag: &str, written: Result<Written, Error>) -> Response {
    match written {
        Ok(written) => asked.see(said_of(written, None), &card_address(tag)),
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `POST /machine/{tag}/settle`.
async fn write_truth(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(tag): Path<String>,
    Form(form): Form<TruthForm>,
) -> Response {
    let asked = Asked::new(state, &headers, card_address(&tag), "");
    let truth = form.truth.trim().to_owned();
    let (machine, of) = (tag.clone(), truth.clone());
    match in_background(&asked.state, move |workshop| workshop.settle(&machine, &of)).await {
        Ok(written) => {
            let mut said = said_of(written, None);
            if said.sentences.is_empty() {
                said.sentences.push(format!("Settled: {truth}."));
            }
            asked.see(said, &card_address(&tag))
        }
        Err(error) => {
            let refused = Refused {
                typed: &truth,
                error: &error,
            };
            let entry = card::Entry {
                refused: Some((card::Form::Truth, refused)),
                ..card::Entry::default()
            };
            refused_card(&asked, tag, &error, &entry).await
        }
    }
}

/// `POST /undo`: takes lines back, the last first.
async fn undo(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<UndoForm>,
) -> Response {
    let asked = Asked::new(state, &headers, back(&form.back), "");
    let undone = in_background(&asked.state, move |workshop| {
        let mut said = Said::default();
        for line in lines(&form.lines)?.into_iter().rev() {
            let undone = workshop.undo(Some(line))?;
            said.sentences.push(undone.text);
            said.changed = undone.changed;
        }
        Ok(said)
    });
    match undone.await {
        Ok(said) => {
            let address = asked.here.clone();
            asked.see(said, &address)
        }
        Err(error) => asked.error(Sheet::Bench, &error).await,
    }
}

/// `GET /read`: how a line would be read, as a piece of a page; writes nothing.
async fn read(State(state): State<AppState>, Query(query): Query<ReadQuery>) -> Response {
    let ReadQuery {
        machine,
        check,
        line,
    } = query;
    if line.trim().is_empty() {
        return Html(String::new()).into_response();
    }
    let read = in_background(&state, move |workshop| {
        understand(workshop, &machine, check.as_deref(), &line)
    })
    .await;
    Html(match read {
        Ok(rows) => bench::reading(&rows).into_string(),
        Err(error) => bench::unread(&error).into_string(),
    })
    .into_response()
}

/// `GET /rounds`.
async fn show_rounds(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/rounds", &query.said);
    match in_background(&asked.state, Workshop::rounds).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| rounds::rounds(setting, &view)),
        Err(error) => asked.error(Sheet::Rounds, &error).await,
    }
}

/// `GET /plan`.
async fn show_plan(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/plan", &query.said);
    plan_page(&asked, None).await
}

async fn plan_page(asked: &Asked, refused: Option<plan::RefusedLimits<'_>>) -> Response {
    match in_background(&asked.state, |workshop| {
        workshop.plan(&PlanLimits::default())
    })
    .await
    {
        Ok(view) => {
            if view.improving {
                improve(&asked.state);
            }
            let code = refused.map_or(StatusCode::OK, |refused| status(refused.error));
            asked.page(code, |setting| plan::plan(setting, &view, refused))
        }
        Err(error) => asked.error(Sheet::Plan, &error).await,
    }
}

/// Lets the search for a better plan go on; a page that is loaded later shows what it found, or why it failed.
fn improve(state: &AppState) {
    let workshop = state.workshop.clone();
    drop(tokio::task::spawn_blocking(move || workshop.improve()));
}

/// `POST /plan`: sets the limits.
async fn set_limits(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<LimitsForm>,
) -> Response {
    let asked = Asked::new(state, &headers, "/plan", "");
    let set = match form.limits() {
        Ok(limits) => in_background(&asked.state, move |workshop| workshop.plan(&limits)).await,
        Err(error) => Err(error),
    };
    match set {
        Ok(_) => Redirect::to("/plan").into_response(),
        Err(error) => {
            let refused = plan::RefusedLimits {
                typed: plan::Typed::Limits {
                    money: &form.money,
                    evenings: &form.evenings,
                    working: &form.working,
                },
                error: &error,
            };
            plan_page(&asked, Some(refused)).await
        }
    }
}

/// `POST /plan/settle`: settles a decision, or lets it go.
async fn settle_plan(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<SettleForm>,
) -> Response {
    let asked = Asked::new(state, &headers, "/plan", "");
    let limits = form.limits();
    match in_background(&asked.state, move |workshop| workshop.plan(&limits)).await {
        Ok(_) => Redirect::to("/plan").into_response(),
        Err(error) => {
            let refused = plan::RefusedLimits {
                typed: plan::Typed::Settled(&form.settle),
                error: &error,
            };
            plan_page(&asked, Some(refused)).await
        }
    }
}

/// `GET /parcels`.
async fn show_parcels(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", &query.said);
    match in_background(&asked.state, |workshop| {
        workshop.order(&PlanLimits::default())
    })
    .await
    {
        Ok(view) => asked.page(StatusCode::OK, |setting| parcels::parcels(setting, &view)),
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `GET /parcels/A.txt`: the list of a parcel as plain text.
async fn parcel_list(
    State(state): State<AppState>,
    headers: HeaderMap,
    uri: Uri,
    Path(name): Path<String>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", "");
    let Some(letter) = name.strip_suffix(".txt") else {
        return asked.error(Sheet::Parcels, &no_page(&uri)).await;
    };
    match in_background(&asked.state, |workshop| {
        workshop.order(&PlanLimits::default())
    })
    .await
    {
        Ok(view) => match view.parcels.iter().find(|parcel| parcel.letter == letter) {
            Some(parcel) => parcels::list(parcel).into_response(),
            None => asked.error(Sheet::Parcels, &no_page(&uri)).await,
        },
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// `POST /parcels/{letter}/ordered`.
async fn write_ordered(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(letter): Path<String>,
) -> Response {
    let asked = Asked::new(state, &headers, "/parcels", "");
    let of = letter.clone();
    match in_background(&asked.state, move |workshop| workshop.ordered(&of)).await {
        Ok(written) => {
            let mut said = said_of(written, None);
            if said.sentences.is_empty() {
                said.sentences.push(format!("Parcel {letter} is ordered."));
            }
            asked.see(said, "/parcels#main")
        }
        Err(error) => asked.error(Sheet::Parcels, &error).await,
    }
}

/// What a look at the form of a lot led to.
enum Outcome {
    Nothing,
    Would(workshop::views::TakenIn),
    Wrong(Error),
}

/// `GET /take-in`.
async fn show_take_in(
    State(state): State<AppState>,
    headers: HeaderMap,
    Query(query): Query<SaidQuery>,
) -> Response {
    let asked = Asked::new(state, &headers, "/take-in", &query.said);
    take_in_page(
        &asked,
        StatusCode::OK,
        &take_in::Fields::default(),
        Outcome::Nothing,
    )
    .await
}

async fn take_in_page(
    asked: &Asked,
    code: StatusCode,
    fields: &take_in::Fields,
    outcome: Outcome,
) -> Response {
    let known = in_background(&asked.state, |workshop| {
        Ok((workshop.boards(), workshop.is_empty()?))
    })
    .await;
    let (boards, first) = match known {
        Ok(known) => known,
        Err(error) => return asked.error(Sheet::TakeIn, &error).await,
    };
    let mut look = take_in::Look {
        first,
        ..take_in::Look::default()
    };
    match &outcome {
        Outcome::Nothing => {}
        Outcome::Would(would) => look.dry_run = Some(would),
        Outcome::Wrong(error) => look.error = Some(error),
    }
    asked.page(code, |setting| {
        take_in::take_in(setting, &boards, fields, look)
    })
}

/// `POST /take-in`.
async fn write_take_in(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(form): Form<TakeInForm>,
) -> Response {
    let asked = Asked::new(state, &headers, "/take-in", "");
    let request = form.request();
    let dry_run = request.dry_run;
    match in_background(&asked.state, move |workshop| workshop.take_in(&request)).await {
        Ok(would) if dry_run => {
            take_in_page(
                &asked,
                StatusCode::OK,
                &form.fields(),
                Outcome::Would(would),
            )
            .await
        }
        Ok(taken) => {
            let sentences = [taken.heading]
                .into_iter()
                .chain(taken.exceptions)
                .collect();
            asked.see(
                Said {
                    sentences,
                    lines: taken.lines,
                    ..Said::default()
                },
                "/#main",
            )
        }
        Err(error) => {
            take_in_page(
                &asked,
                status(&error),
                &form.fields(),
                Outcome::Wrong(error),
            )
            .await
        }
    }
}

/// `POST /theme`: remembers light or dark for a year.
async fn set_theme(Form(form): Form<ThemeForm>) -> Response {
    let word = Theme::from_word(&form.theme).word();
    let cookie = format!("theme={word}; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly");
    (
        [(header::SET_COOKIE, cookie)],
        Redirect::to(back(&form.back)),
    )
        .into_response()
}

async fn no_such_page(State(state): State<AppState>, headers: HeaderMap, uri: Uri) -> Response {
    let asked = Asked::new(state, &headers, "/", "");
    asked.error(Sheet::Missing, &no_page(&uri)).await
}

fn no_page(uri: &Uri) -> Error {
    Error::new(
        ErrorKind::NotFound,
        format!("there is no page `{}`", uri.path()),
    )
}
