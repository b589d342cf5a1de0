//! The shop check with the exact minimum zone on a grid of about 250 points: surveys per second.
//!
//! `cargo bench --bench survey`; `benches/survey_peer.py` does the same work with NumPy and SciPy, to be run in the
//! same sitting.

use howflat::{
    propagation::{
        check_experiment::CheckExperiment,
        trials::{BLOCK, run_trials},
    },
    quantity::stream::Streams,
    setup::Setup,
    shop::grid::Grid,
};

fn main() {
    divan::main();
}

fn setup(name: &str) -> Setup {
    let path = format!("{}/budgets/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("a shipped setup");
    Setup::read(&text, &|_| Err("no map".into())).expect("a sound setup")
}

const N_TRIALS: u64 = 128 * BLOCK as u64;

/// Both cores; items are surveys.
#[divan::bench(sample_count = 5, sample_size = 1, args = ["granite-parked", "granite-turned", "granite-carried", "iron-metric", "fresh-careful"])]
fn surveys(bencher: divan::Bencher, name: &str) {
    let experiment = CheckExperiment::new(&setup(name).check).expect("a sound check");
    bencher
        .counter(divan::counter::ItemsCount::new(N_TRIALS))
        .bench(|| run_trials(&experiment, &Streams::new(1), 0..N_TRIALS, &|_| {}));
}

/// Growth with the number of trials.
#[divan::bench(sample_count = 5, sample_size = 1, args = [16_384, 65_536, 262_144])]
fn growth_with_trials(bencher: divan::Bencher, n_trials: u64) {
    let experiment = CheckExperiment::new(&setup("granite-parked").check).expect("a sound check");
    bencher
        .counter(divan::counter::ItemsCount::new(n_trials))
        .bench(|| run_trials(&experiment, &Streams::new(1), 0..n_trials, &|_| {}));
}

/// Growth with the number of points on which flatness is judged.
#[divan::bench(sample_count = 5, sample_size = 1, args = [49, 247, 1000, 4000])]
fn growth_with_grid(bencher: divan::Bencher, n_nodes: usize) {
    let check = setup("granite-parked").check;
    let grid = Grid::over(check.plate.working_surface(), n_nodes);
    let experiment = CheckExperiment::on_grid(&check, grid).expect("a sound check");
    bencher
        .counter(divan::counter::ItemsCount::new(N_TRIALS))
        .bench(|| run_trials(&experiment, &Streams::new(1), 0..N_TRIALS, &|_| {}));
}
