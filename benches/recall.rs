//! How long the dates of 50 plates take that have 20 entries each, with costs: `cargo bench --bench recall`.

#[path = "../tests/common/mod.rs"]
mod common;

use howflat::{
    decision::{
        recall::Costs,
        recall_plan::{Entry, Found, PlateRecord, RecallPlan, RecallQuestion},
    },
    propagation::{
        posterior::Settings,
        wear_history::{Known, WearPrior},
    },
    quantity::day::Day,
};

fn main() {
    divan::main();
}

/// Two shop checks a year, every fifth entry a certificate, on plates that wear at rates of their own.
fn records() -> Vec<PlateRecord> {
    let start = Day::new(2015, 3, 2).expect("a day");
    let plate = |index: usize| {
        let rate = 0.1 + 0.01 * index as f64;
        let entry = |k: usize| {
            let years = 0.5 * k as f64 + 0.003 * index as f64;
            let flatness = 1.5 + rate * years;
            let found = match k % 5 {
                0 => Found::Certificate(Known::Normal { estimate: flatness, standard_uncertainty: 0.3 }),
                _ => Found::Spread(2.0 * flatness + (k % 3) as f64),
            };
            Entry { day: start.plus_years(years), found }
        };
        PlateRecord::new(format!("plate {index}"), (0..20).map(entry).collect())
    };
    (0..50).map(plate).collect()
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn fifty_plates_of_twenty_entries(bencher: divan::Bencher) {
    let (check, records) = (common::check_with(|_| {}), records());
    let costs =
        Costs { recalibration: 450.0, day: 60.0, days_away: 10.0, bad_part: 80.0, bad_parts_a_year: 12.0 };
    let question = RecallQuestion {
        tolerance: 5.08,
        risk: 0.05,
        today: Day::new(2025, 6, 1).expect("a day"),
        costs: Some(costs),
        prior: WearPrior::default(),
        settings: Settings::default(),
    };
    bencher.bench(|| RecallPlan::new(&check, &records, &question, &|_| {}).expect("a plan"));
}
