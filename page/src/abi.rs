//! The four calls that cross from the page: room for a question, its answer, and the last words of a panic.
//!
//! A question and an answer are a 32-bit little-endian length of JSON, the JSON, and the bytes of a file. No pointer of the
//! page's is followed here: the page writes into the room it was given.
#![allow(unsafe_code)] // the names of exports; nothing here is unsafe to run
use crate::{Bench, answered};
use std::cell::RefCell;

#[derive(Default)]
struct Desk {
    bench: Bench,
    question: Vec<u8>,
    answer: Vec<u8>,
}
thread_local! {
    static DESK: RefCell<Desk> = RefCell::default();
    static LAST_WORDS: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// Room for a question of `bytes` bytes: its address; 0 where memory has no such room.
#[unsafe(no_mangle)]
pub extern "C" fn room(bytes: usize) -> usize {
    DESK.with_borrow_mut(|d| {
        let mut fresh = Vec::new();
        if fresh.try_reserve_exact(bytes).is_err() {
            return 0;
        }
        fresh.resize(bytes, 0);
        d.question = fresh;
        d.question.as_mut_ptr() as usize
    })
}
/// Answers the question that was written into the room: bytes of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn ask() -> usize {
    std::panic::set_hook(Box::new(|p| LAST_WORDS.set(p.to_string().into_bytes())));
    DESK.with_borrow_mut(|d| {
        let question = std::mem::take(&mut d.question);
        d.answer = answered(&mut d.bench, question);
        d.answer.len()
    })
}
/// Address of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> usize {
    DESK.with_borrow(|d| d.answer.as_ptr() as usize)
}
/// Address of what a panic said, and by `last_words_length` how many bytes.
#[unsafe(no_mangle)]
pub extern "C" fn last_words() -> usize {
    LAST_WORDS.with_borrow(|w| w.as_ptr() as usize)
}
/// Bytes of what a panic said; 0 where there was none.
#[unsafe(no_mangle)]
pub extern "C" fn last_words_length() -> usize {
    LAST_WORDS.with_borrow(Vec::len)
}
