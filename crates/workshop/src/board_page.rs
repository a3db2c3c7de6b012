//! A board as a page: its parts by block, its functions and checks, and what smells.

use crate::{
    Workshop,
    board_file::{BoardChecked, checked},
    views::BoardChoice,
    workshop::Result,
};

/// What is known of a board, to be leafed through.
#[derive(Debug, Clone)]
pub struct BoardView {
    /// Board id.
    pub id: String,
    /// Title.
    pub title: String,
    /// It is built in, so nothing can be taken into it.
    pub starter: bool,
    /// There are nets beside it.
    pub nets: bool,
    /// How it holds, and what smells.
    pub checked: BoardChecked,
    /// Blocks with their parts: reference and title.
    pub blocks: Vec<(String, Vec<(String, String)>)>,
    /// Functions: id and title.
    pub functions: Vec<(String, String)>,
    /// Checks: id and title.
    pub checks: Vec<(String, String)>,
    /// Other boards that it can be compared with.
    pub others: Vec<BoardChoice>,
}

impl Workshop {
    /// A board of the workshop or a starter.
    ///
    /// # Errors
    /// If there is none of this id, or its file cannot be read.
    pub fn board_view(&self, id: &str) -> Result<BoardView> {
        let state = self.fresh()?.state();
        let folder = &state.folder;
        let profile = folder.board(id)?;
        let own = |block: &catalogue::Block| {
            let parts = profile.parts.iter().filter(|part| part.block == block.id);
            let parts = parts.map(|part| (part.reference.clone(), part.title.clone()));
            (block.title.clone(), parts.collect::<Vec<_>>())
        };
        let blocks = profile.blocks.iter().map(own);
        let functions = profile.functions.iter();
        let functions = functions.map(|one| (one.id.clone(), one.title.clone()));
        let checks = profile.checks.iter();
        let checks = checks.map(|check| (check.id.clone(), crate::say::check_title(check)));
        let others = folder.choices().into_iter();
        Ok(BoardView {
            id: profile.id.clone(),
            title: profile.title.clone(),
            starter: folder.is_starter(id),
            nets: folder.nets(id).is_ok(),
            checked: checked(id, &profile, None, &folder.library),
            blocks: blocks.filter(|(_, parts)| !parts.is_empty()).collect(),
            functions: functions.collect(),
            checks: checks.collect(),
            others: others.filter(|other| other.id != id).collect(),
        })
    }
}
