//! What the browser calls: a request is a list of parts, each a run of bytes, and so is the answer. The first part of each
//! is JSON, the others are files.
//!
//! Memory belongs to this side: the browser asks for room, fills it, and reads where it is told.

#![allow(unreachable_pub, reason = "the browser reaches them by their names")]

use std::cell::RefCell;

use crate::Desk;

#[link(wasm_import_module = "host")]
unsafe extern "C" {
    /// A stage is done; its name.
    safe fn stage(at: *const u8, length: usize);
    /// The program is at fault; in words. It does not go on after this.
    safe fn fault(at: *const u8, length: usize);
}

thread_local! {
    static DESK: RefCell<Desk> = RefCell::default();
    static ASKED: RefCell<Vec<Vec<u8>>> = RefCell::default();
    static ANSWERED: RefCell<Vec<Vec<u8>>> = RefCell::default();
}

/// Says how a fault is told.
#[unsafe(no_mangle)]
pub extern "C" fn start() {
    std::panic::set_hook(Box::new(|info| {
        let text = info.to_string();
        fault(text.as_ptr(), text.len());
    }));
}

/// Room for the next part of a request; the browser fills it.
#[unsafe(no_mangle)]
pub extern "C" fn room(length: usize) -> *mut u8 {
    ASKED.with_borrow_mut(|parts| {
        parts.push(vec![0; length]);
        parts
            .last_mut()
            .map_or(std::ptr::null_mut(), Vec::as_mut_ptr)
    })
}

/// Answers the request of all parts so far; the number of parts of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> usize {
    let asked = ASKED.take();
    // The last answer goes first: both can be large.
    ANSWERED.set(Vec::new());
    let answered = DESK
        .with_borrow_mut(|desk| desk.answer(asked, &mut |name| stage(name.as_ptr(), name.len())));
    let parts = answered.len();
    ANSWERED.set(answered);
    parts
}

/// Where a part of the answer is.
#[unsafe(no_mangle)]
pub extern "C" fn part(which: usize) -> *const u8 {
    ANSWERED.with_borrow(|parts| parts.get(which).map_or(std::ptr::null(), |p| p.as_ptr()))
}

/// How long it is, bytes.
#[unsafe(no_mangle)]
pub extern "C" fn length(which: usize) -> usize {
    ANSWERED.with_borrow(|parts| parts.get(which).map_or(0, Vec::len))
}

/// Lets go of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn done() {
    ANSWERED.set(Vec::new());
}
