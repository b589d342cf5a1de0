//! Any text is a table of readings for a setup, or faults that can be printed; never a panic.
#![no_main]

use howflat::setup::{Readings, Setup};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static SETUP: LazyLock<Setup> = LazyLock::new(|| {
    let no_files = |name: &str| Err(format!("there is no {name}"));
    Setup::read(include_str!("../../budgets/granite-parked.json"), &no_files).expect("a shipped setup")
});

fuzz_target!(|text: &str| {
    if let Err(faults) = Readings::read(text, &SETUP) {
        assert!(faults.iter().all(|fault| !fault.to_string().is_empty()) && !faults.is_empty());
    }
});
