//! The same views as JSON, for scripts; reading only.

use axum::{
    Json,
    extract::{Path, Query, State},
    response::{IntoResponse, Response},
};
use serde::Serialize;
use workshop::{Error, PlanLimits, Workshop};

use crate::{
    forms::IfQuery,
    routes::{in_background, status},
    state::AppState,
};

/// An error as JSON, the keys of the command line.
#[derive(Serialize)]
struct Wrong {
    error: String,
    hint: Option<String>,
}

async fn answer<T>(
    state: AppState,
    work: impl FnOnce(&Workshop) -> Result<T, Error> + Send + 'static,
) -> Response
where
    T: Serialize + Send + 'static,
{
    match in_background(&state, work).await {
        Ok(view) => Json(view).into_response(),
        Err(error) => (
            status(&error),
            Json(Wrong {
                error: error.message,
                hint: error.hint,
            }),
        )
            .into_response(),
    }
}

pub(crate) async fn bench(State(state): State<AppState>) -> Response {
    answer(state, Workshop::bench).await
}

pub(crate) async fn rounds(State(state): State<AppState>) -> Response {
    answer(state, Workshop::rounds).await
}

pub(crate) async fn card(State(state): State<AppState>, Path(tag): Path<String>) -> Response {
    answer(state, move |workshop| workshop.card(&tag)).await
}

pub(crate) async fn what_if(
    State(state): State<AppState>,
    Path(tag): Path<String>,
    Query(query): Query<IfQuery>,
) -> Response {
    let line = query.line();
    answer(state, move |workshop| workshop.what_if(&tag, &line)).await
}

pub(crate) async fn plan(State(state): State<AppState>) -> Response {
    answer(state, |workshop| workshop.plan(&PlanLimits::default())).await
}

pub(crate) async fn parcels(State(state): State<AppState>) -> Response {
    answer(state, |workshop| workshop.order(&PlanLimits::default())).await
}

pub(crate) async fn boards(State(state): State<AppState>) -> Response {
    answer(state, |workshop| Ok(workshop.boards())).await
}
