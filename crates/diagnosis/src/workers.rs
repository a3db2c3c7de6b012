//! Work done side by side where there are several processors.

use std::{
    sync::{Mutex, OnceLock, PoisonError},
    thread,
};

/// Does something with each, side by side where there are several processors, each taken by whoever is free; the answers are in order.
pub(crate) fn side_by_side<T: Send, R: Send>(all: Vec<T>, each: impl Fn(T) -> R + Sync) -> Vec<R> {
    side_by_side_in(threads(), all, || (), |(), one| each(one))
}

/// The same by so many workers at most, each with room of its own.
pub(crate) fn side_by_side_in<T: Send, R: Send, S>(
    workers: usize,
    all: Vec<T>,
    room: impl Fn() -> S + Sync,
    each: impl Fn(&mut S, T) -> R + Sync,
) -> Vec<R> {
    let count = all.len();
    let waiting = Mutex::new(all.into_iter().enumerate());
    let next = || {
        waiting
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .next()
    };
    let answers = Mutex::new(Vec::with_capacity(count));
    let work = || {
        let (mut own, mut done) = (None, Vec::new());
        while let Some((place, one)) = next() {
            done.push((place, each(own.get_or_insert_with(&room), one)));
        }
        let mut answers = answers.lock().unwrap_or_else(PoisonError::into_inner);
        answers.extend(done);
    };
    match workers.min(count) {
        0 | 1 => work(),
        workers => rayon::in_place_scope(|scope| {
            for _ in 1..workers {
                scope.spawn(|_| work());
            }
            work();
        }),
    }
    let mut done: Vec<(usize, R)> = answers.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, answer)| answer).collect()
}

/// The same where that is worth it, else one after the other.
pub(crate) fn side_by_side_if<T: Send, R: Send>(
    worth: bool,
    all: Vec<T>,
    each: impl Fn(T) -> R + Sync,
) -> Vec<R> {
    let workers = if worth { threads() } else { 1 };
    side_by_side_in(workers, all, || (), |(), one| each(one))
}

/// Processors; the answer is kept, as asking takes as long as a small network.
pub(crate) fn threads() -> usize {
    static THREADS: OnceLock<usize> = OnceLock::new();
    *THREADS.get_or_init(|| thread::available_parallelism().map_or(1, usize::from))
}
