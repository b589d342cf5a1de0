//! How long a verdict takes: `cargo bench --bench posterior`.

#[path = "../tests/common/mod.rs"]
mod common;

use howflat::{
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::observations,
        posterior::{Settings, posterior},
        trials::Experiment,
    },
    quantity::stream::Streams,
    shop::{
        check::ShopCheck,
        survey::{StandUse, Station},
    },
};

fn main() {
    divan::main();
}

/// A parked stand in as many corners as the readings need, seven targets each, one zero.
fn parked(n_readings: usize) -> ShopCheck {
    spread_over_corners(n_readings, StandUse::Parked)
}

fn spread_over_corners(n_readings: usize, stand_use: StandUse) -> ShopCheck {
    common::check_with(|plan| {
        let (l, w, c, e) = (36.0 * 25.4, 24.0 * 25.4, 110.0, 50.0);
        let mut targets = Vec::new();
        for (name, x) in [("left", e), ("half left", l / 3.0), ("half right", l / 1.5), ("right", l - e)] {
            for (side, y) in [("front", e), ("middle", w / 2.0), ("back", w - e)] {
                targets.push(common::target(&format!("{side} {name}"), x, y));
            }
        }
        plan.stand_use = stand_use;
        plan.closing_reading = false;
        plan.stations.clear();
        let corners = [([c, c], 33.0), ([l - c, w - c], 213.0), ([c, w - c], -33.0), ([l - c, c], 147.0)];
        // The zero is no reading to judge by.
        let mut left = n_readings + 1;
        for (at, heading) in corners {
            let far =
                |t: &&howflat::shop::survey::Target| libm::hypot(t.at[0] - at[0], t.at[1] - at[1]) > 160.0;
            let targets: Vec<_> = targets.iter().filter(far).take(left.min(8)).cloned().collect();
            left -= targets.len();
            plan.stations.push(Station { name: format!("{at:?}"), at, heading, targets });
            if left == 0 {
                break;
            }
        }
        assert_eq!(left, 0, "enough stations");
    })
}

fn judge(bencher: divan::Bencher, check: &ShopCheck) {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let (_, written) = experiment.written(&Streams::new(3), 5, &mut experiment.scratch());
    let observations = observations(check, &written);
    bencher.bench(|| posterior(check, &observations, &Settings::default(), &|_| {}).expect("sound readings"));
}

#[divan::bench(args = [7, 20, 30], sample_count = 5, sample_size = 1)]
fn parked_stand(bencher: divan::Bencher, n_readings: usize) {
    judge(bencher, &parked(n_readings));
}

#[divan::bench(args = [7, 20, 30], sample_count = 5, sample_size = 1)]
fn turned_stand(bencher: divan::Bencher, n_readings: usize) {
    judge(bencher, &spread_over_corners(n_readings, StandUse::Turned));
}
