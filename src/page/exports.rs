//! The names by which a browser calls the engine: where to put a question, answer it, where the answer is.
//!
//! Bytes of UTF-8 go both ways through the module's memory; nothing else does.

#![allow(
    unsafe_code,
    reason = "a name that the outside calls has to be exported as it is; nothing here does anything unsafe"
)]

use std::sync::Mutex;

static QUESTION: Mutex<Vec<u8>> = Mutex::new(Vec::new());
static ANSWER: Mutex<Vec<u8>> = Mutex::new(Vec::new());

/// Makes room for a question of so many bytes, and says where.
#[unsafe(no_mangle)]
pub extern "C" fn question_room(length: usize) -> *const u8 {
    let mut question = QUESTION.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    question.clear();
    question.resize(length.min(super::LONGEST_QUESTION + 1), 0);
    question.as_ptr()
}

/// Answers the question that stands there, and says how many bytes the answer has.
#[unsafe(no_mangle)]
pub extern "C" fn answer_question() -> usize {
    let question =
        QUESTION.lock().map(|question| String::from_utf8_lossy(&question).into_owned()).unwrap_or_default();
    let answered = super::answer(&question).into_bytes();
    let length = answered.len();
    *ANSWER.lock().unwrap_or_else(|poisoned| poisoned.into_inner()) = answered;
    length
}

/// Where the answer is.
#[unsafe(no_mangle)]
pub extern "C" fn answer_place() -> *const u8 {
    ANSWER.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).as_ptr()
}
