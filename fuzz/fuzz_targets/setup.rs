//! Any text is a setup, or faults that can be printed; never a panic. What is sound can be simulated.
#![no_main]

use howflat::{
    propagation::check_experiment::CheckExperiment,
    setup::{MeasurementSetup, Setup},
};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let no_files = |name: &str| Err(format!("there is no {name}"));
    match Setup::read(text, &no_files) {
        Ok(setup) => {
            let _ = CheckExperiment::new(&setup.check);
        }
        Err(faults) => assert!(faults.iter().all(|fault| !fault.to_string().is_empty()) && !faults.is_empty()),
    }
    if let Err(faults) = MeasurementSetup::read(text) {
        assert!(faults.iter().all(|fault| !fault.to_string().is_empty()) && !faults.is_empty());
    }
});
