//! The class, piece by piece over the cores.
//!
//! Each worker holds the photos of one piece, so memory is bounded by the number of workers; the check's own
//! parallel parts stay inside their worker, so that nothing depends on how many there are.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::class::Piece;
use super::findings::{Findings, FoundPhoto};
use super::look::{Known, Look, look};
use super::store::{Hash, Store};
use crate::plan::Plan;
use crate::report::ReportError;

/// What all pieces share.
#[derive(Debug)]
pub struct Job<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// What is known besides.
    pub known: &'a Known,
    /// Of everything but the photos that a result depends on: the plan's bytes, what is known, the program.
    pub base: Hash,
    /// Where results are kept.
    pub store: &'a Store,
    /// Workers.
    pub jobs: usize,
    /// Measure again what is stored already.
    pub afresh: bool,
}

/// A piece as it was handed in and measured. The picture stays in the store.
#[derive(Debug)]
pub struct Done {
    /// Whose it is.
    pub who: String,
    /// The key of its result.
    pub key: String,
    /// What was found.
    pub findings: Findings,
    /// Photos that could not be opened, each with the reason.
    pub unread: Vec<String>,
    /// It was measured in this run, and not taken from the store.
    pub fresh: bool,
}

/// Measures every piece that is not stored yet; `told` is called with the number done, from any thread.
/// The result is in the order of `class`.
///
/// # Errors
/// [`ReportError::Write`] when a result cannot be stored: then the next run could not go on from it.
pub fn run(
    class: &[Piece],
    job: &Job,
    told: &(dyn Fn(usize) + Sync),
) -> Result<Vec<Done>, ReportError> {
    let next = AtomicUsize::new(0);
    let ready = AtomicUsize::new(0);
    let failed: Mutex<Option<ReportError>> = Mutex::new(None);
    let slots: Vec<Mutex<Option<Done>>> = class.iter().map(|_| Mutex::new(None)).collect();
    let worker = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(piece) = class.get(i) else { return };
            match one(piece, job) {
                Ok(done) => *lock(&slots[i]) = Some(done),
                Err(e) => {
                    lock(&failed).get_or_insert(e);
                    // The others stop at their next piece.
                    next.store(class.len(), Ordering::Relaxed);
                }
            }
            told(ready.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..job.jobs.clamp(1, class.len().max(1)) {
            scope.spawn(|| {
                match rayon::ThreadPoolBuilder::new().num_threads(1).build() {
                    Ok(alone) => alone.install(worker),
                    // Without a pool of its own the shared one does: slower, and the same result.
                    Err(_) => worker(),
                }
            });
        }
    });
    if let Some(e) = lock(&failed).take() {
        return Err(e);
    }
    Ok(slots
        .into_iter()
        .filter_map(|s| {
            s.into_inner()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
        })
        .collect())
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A worker that panicked has left its value whole: they are only ever replaced.
    mutex
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

fn one(piece: &Piece, job: &Job) -> Result<Done, ReportError> {
    let mut unread = Vec::new();
    let mut photos: Vec<(Hash, PathBuf)> = Vec::new();
    for path in &piece.photos {
        match Hash::of_file(path) {
            Ok(hash) => photos.push((hash, path.clone())),
            Err(e) => unread.push(format!("{}: {e}", path.display())),
        }
    }
    // By content: neither names nor their order change a result. The same photo twice is one photo.
    photos.sort();
    photos.dedup_by_key(|(hash, _)| *hash);
    let key = photos
        .iter()
        .fold(job.base, |key, (hash, _)| key.with(hash.hex().as_bytes()))
        .hex();
    let paths: Vec<PathBuf> = photos.iter().map(|(_, path)| path.clone()).collect();
    let stored = if job.afresh {
        None
    } else {
        job.store.get(&key)
    };
    let fresh = stored.is_none();
    let look = match stored {
        Some(look) => look,
        None => {
            let seen = measured(&paths, job);
            if unchanged(&photos) {
                job.store.put(&key, &seen)?;
                seen
            } else {
                // Its picture and its marks may be of two photos: neither is to be believed, nor kept.
                unread.push(format!(
                    "photos of {}: they were changed while they were measured",
                    piece.who
                ));
                nothing(&paths, job, CHANGED)
            }
        }
    };
    Ok(Done {
        who: piece.who.clone(),
        key,
        findings: look.findings,
        unread,
        fresh,
    })
}

/// Measures; a fault of the program itself costs this piece its measurement, and not the class its grades.
fn measured(paths: &[PathBuf], job: &Job) -> Look {
    catch_unwind(AssertUnwindSafe(|| look(paths, job.plan, job.known))).unwrap_or_else(|_| {
        nothing(
            paths,
            job,
            "the program failed on this photo; please report it",
        )
    })
}

/// What is said of a photo that was another one when it was looked at again.
const CHANGED: &str = "the photo was changed while it was measured; grade the class again";

/// Whether the photos are still those that the key is of.
fn unchanged(photos: &[(Hash, PathBuf)]) -> bool {
    let same = |(hash, path): &(Hash, PathBuf)| Hash::of_file(path).is_ok_and(|now| now == *hash);
    photos.iter().all(same)
}

/// A piece of which nothing is known, and why.
fn nothing(paths: &[PathBuf], job: &Job, why: &str) -> Look {
    let mut nothing = look(&[], job.plan, job.known);
    let failed = || FoundPhoto {
        size: [0, 0],
        print: String::new(),
        failed: Some(why.to_owned()),
    };
    nothing.findings.photos = paths.iter().map(|_| failed()).collect();
    nothing
}
