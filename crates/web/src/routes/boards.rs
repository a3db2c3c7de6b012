//! Addresses of boards.

use std::collections::BTreeMap;

use axum::{
    Form, Router,
    extract::{Path, Query, State},
    http::{HeaderMap, StatusCode},
    response::Response,
    routing::{get, post},
};
use serde::Deserialize;
use workshop::{Error, NewBoard, ReadParts, Revision, Workshop, board_questions, views::Told};

use super::{Asked, in_background, status};
use crate::{
    pages::{
        Sheet,
        board::{self, ListKind, Pasted},
        new_board::{self, NewBoardForm},
    },
    state::AppState,
};

/// What these pages answer to.
pub(super) fn router() -> Router<AppState> {
    Router::new()
        .route("/boards", get(show_all))
        .route("/new-board", get(ask).post(begin))
        .route("/boards/{id}", get(show))
        .route("/boards/{id}/split", post(split))
        .route("/boards/{id}/about", get(about))
        .route("/boards/{id}/net", get(net))
        .route("/boards/{id}/compare", get(compare))
        .route("/boards/{id}/parts", post(parts))
        .route("/boards/{id}/nets", post(nets))
        .route("/boards/{id}/revision", post(revision))
}

/// `?name=U7`.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct NameQuery {
    name: String,
    with: String,
}

/// A pasted list, and whether to take it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct ListForm {
    text: String,
    take: Option<String>,
}

async fn show_all(State(state): State<AppState>, headers: HeaderMap) -> Response {
    let asked = Asked::new(state, &headers, "/boards", "");
    match in_background(&asked.state, |workshop| Ok(workshop.boards())).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| board::boards(setting, &view)),
        Err(error) => asked.error(Sheet::Boards, &error).await,
    }
}

async fn show(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
) -> Response {
    let asked = Asked::new(state, &headers, board::board_address(&id), "");
    match in_background(&asked.state, move |workshop| workshop.board_view(&id)).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| board::board(setting, &view)),
        Err(error) => asked.error(Sheet::Boards, &error).await,
    }
}

/// The questions, nothing answered yet.
async fn ask(State(state): State<AppState>, headers: HeaderMap) -> Response {
    let asked = Asked::new(state, &headers, "/new-board", "");
    let form = NewBoardForm {
        title: "",
        answers: &BTreeMap::new(),
        found: None,
    };
    asked.page(StatusCode::OK, |setting| {
        new_board::new_board(setting, &board_questions(), form)
    })
}

/// A board begun: shown, or written where that is asked.
async fn begin(
    State(state): State<AppState>,
    headers: HeaderMap,
    Form(mut form): Form<BTreeMap<String, String>>,
) -> Response {
    let take = form.remove("take").is_some();
    form.remove("look");
    let title = form.remove("title").unwrap_or_default();
    form.retain(|_, answer| !answer.is_empty());
    let asked = Asked::new(state, &headers, "/new-board", "");
    let new = NewBoard {
        title: title.clone(),
        answers: form.clone(),
    };
    let found = in_background(&asked.state, move |workshop| {
        workshop.new_board(&new, !take)
    })
    .await;
    match &found {
        Ok(written) if written.written => {
            let id = written.board.clone();
            let view = in_background(&asked.state, move |workshop| workshop.board_view(&id)).await;
            match view {
                Ok(view) => asked.page(StatusCode::OK, |setting| board::board(setting, &view)),
                Err(error) => asked.error(Sheet::Boards, &error).await,
            }
        }
        _ => {
            let code = found.as_ref().err().map_or(StatusCode::OK, status);
            let form = NewBoardForm {
                title: &title,
                answers: &form,
                found: Some(found.as_ref()),
            };
            asked.page(code, |setting| {
                new_board::new_board(setting, &board_questions(), form)
            })
        }
    }
}

/// A block and its pieces, and whether to do it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct SplitForm {
    block: String,
    pieces: String,
    take: Option<String>,
}

async fn split(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Form(form): Form<SplitForm>,
) -> Response {
    let asked = Asked::new(state, &headers, board::board_address(&id), "");
    let (of, block, take) = (id.clone(), form.block.clone(), form.take.is_some());
    let pieces = form.pieces.replace("\r\n", ";").replace('\n', ";");
    let found = in_background(&asked.state, move |workshop| {
        workshop.split_board(&of, &block, &pieces, !take)
    })
    .await;
    let code = found.as_ref().err().map_or(StatusCode::OK, status);
    let typed = (form.block.as_str(), form.pieces.as_str());
    asked.page(code, |setting| {
        new_board::split(setting, &id, typed, found.as_ref())
    })
}

/// A page of something told.
async fn tell(
    state: AppState,
    headers: &HeaderMap,
    id: String,
    work: impl FnOnce(&Workshop, &str) -> Result<Told, Error> + Send + 'static,
) -> Response {
    let asked = Asked::new(state, headers, board::board_address(&id), "");
    let of = id.clone();
    match in_background(&asked.state, move |workshop| work(workshop, &of)).await {
        Ok(view) => asked.page(StatusCode::OK, |setting| board::told(setting, &id, &view)),
        Err(error) => asked.error(Sheet::Boards, &error).await,
    }
}

async fn about(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Query(query): Query<NameQuery>,
) -> Response {
    tell(state, &headers, id, move |workshop, id| {
        workshop.explain(Some(id), &query.name)
    })
    .await
}

async fn net(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Query(query): Query<NameQuery>,
) -> Response {
    let name = Some(query.name).filter(|name| !name.is_empty());
    tell(state, &headers, id, move |workshop, id| {
        workshop.net(Some(id), name.as_deref())
    })
    .await
}

async fn compare(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Query(query): Query<NameQuery>,
) -> Response {
    tell(state, &headers, id, move |workshop, id| {
        let (old, new) = (Revision::Board(id), Revision::Board(&query.with));
        Ok(workshop.compare_boards(old, new, false)?.says)
    })
    .await
}

/// A pasted list, shown as understood and taken if asked.
async fn list(
    state: AppState,
    headers: &HeaderMap,
    id: String,
    form: ListForm,
    kind: ListKind,
    work: impl FnOnce(&Workshop, &str, &[u8], bool) -> Result<(Told, bool), Error> + Send + 'static,
) -> Response {
    let asked = Asked::new(state, headers, board::board_address(&id), "");
    let (of, text, take) = (id.clone(), form.text.clone(), form.take.is_some());
    let found = in_background(&asked.state, move |workshop| {
        work(workshop, &of, text.as_bytes(), take)
    })
    .await;
    let code = found.as_ref().err().map_or(StatusCode::OK, status);
    let taken = found.as_ref().is_ok_and(|(_, taken)| *taken);
    let pasted = Pasted {
        kind,
        text: &form.text,
        found: found.as_ref().map(|(told, _)| told),
        taken,
    };
    asked.page(code, |setting| board::pasted(setting, &id, &pasted))
}

async fn parts(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Form(form): Form<ListForm>,
) -> Response {
    list(
        state,
        &headers,
        id,
        form,
        ListKind::Parts,
        |workshop, id, bytes, take| {
            let request = ReadParts {
                name: "the list".to_owned(),
                take,
                ..ReadParts::default()
            };
            let read = workshop.read_parts(id, bytes, &request)?;
            Ok((read.says, read.taken))
        },
    )
    .await
}

async fn nets(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Form(form): Form<ListForm>,
) -> Response {
    list(
        state,
        &headers,
        id,
        form,
        ListKind::Nets,
        |workshop, id, bytes, take| {
            let read = workshop.read_nets(id, "the list", bytes, take)?;
            Ok((read.says, read.taken))
        },
    )
    .await
}

async fn revision(
    State(state): State<AppState>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Form(form): Form<ListForm>,
) -> Response {
    list(
        state,
        &headers,
        id,
        form,
        ListKind::Revision,
        |workshop, id, bytes, take| {
            // A browser sends Windows line ends; the file keeps those of the house.
            let text = String::from_utf8_lossy(bytes).replace("\r\n", "\n");
            let new = Revision::File("the new file", text.as_bytes());
            let compared = workshop.compare_boards(Revision::Board(id), new, take)?;
            Ok((compared.says, compared.taken))
        },
    )
    .await
}
