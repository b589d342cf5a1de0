//! How long a plan takes: steps with all pairs, placements, other methods.
//!
//! ```text
//! cargo bench --bench plan
//! ```

use howflat::{
    propagation::{
        improvement_gain::{USUAL_TRIALS, Workshop},
        other_methods::{Instruments, other_methods},
        placement_choice::{Unread, choose_placements, placements_to_choose_from},
        simulation::WayKind,
    },
    setup::Setup,
};

fn main() {
    divan::main();
}

fn setup() -> Setup {
    let text = include_str!("../budgets/granite-parked.json");
    Setup::read(text, &|name| Err(format!("no {name}"))).expect("a shipped setup")
}

/// Thirteen steps and their 78 pairs.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn steps_with_pairs(bencher: divan::Bencher) {
    let setup = setup();
    let steps: Vec<_> = setup.improvements.offers.iter().map(|offer| offer.step).collect();
    bencher.bench(|| {
        let workshop = Workshop::new(&setup.check, &setup.plan, USUAL_TRIALS, 1).expect("a sound check");
        workshop.gains(&steps, WayKind::Spread, &|_| {})
    });
}

/// Eight readings out of some 500.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn eight_placements(bencher: divan::Bencher) {
    let setup = setup();
    let candidates = placements_to_choose_from(&setup.check, &setup.plan, 12.7);
    bencher.bench(|| {
        let unread = Unread::new(&setup.check, 1).expect("a sound check");
        choose_placements(&setup.check, &setup.plan, &unread, &candidates, 8)
    });
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn methods(bencher: divan::Bencher) {
    let setup = setup();
    bencher.bench(|| other_methods(&setup.check, &Instruments::default(), USUAL_TRIALS, 1, &|_| {}));
}
