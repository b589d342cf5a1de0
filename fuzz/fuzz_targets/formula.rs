//! Any text is a formula with a value and derivatives, or an error that can be printed; never a panic.
#![no_main]

use howflat::model::formula::Formula;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Formula::parse(text, &["x", "y"]) {
        Ok(formula) => {
            let _ = formula.value(&[0.5, -2.0]);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
