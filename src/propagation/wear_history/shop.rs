//! All plates of a shop, fitted together.

use super::filter::Plate;
use super::grid::Grid;
use super::rates::{FINE, N_CLOSER, Paces, coarse_rates, support, wide_enough};
use super::{Event, History, PlateWear, WearPrior, spaced};
use libm::log;
use rayon::prelude::*;

/// Fits every plate's wear to its history, and the shop's pace to all.
///
/// The result is the same for any number of threads. Spreads are passed over where no law is given.
pub fn fit(history: &History) -> Vec<PlateWear> {
    let shop = Shop::new(std::slice::from_ref(history));
    (0..shop.n_plates()).into_par_iter().map(|plate| shop.fit(plate)).collect()
}

/// All plates of a shop together, whatever their setups, and what they say of its pace.
pub struct Shop<'a> {
    pub(super) plates: Vec<ShopPlate<'a>>,
    pub(super) paces: Paces,
}

/// One plate of a shop.
pub(super) struct ShopPlate<'a> {
    pub(super) history: &'a History<'a>,
    pub(super) events: &'a [Event],
    /// Logarithm of how much it is used, over the usual.
    pub(super) log_usage: f64,
    pub(super) grid: Grid,
    /// The evidence on the grid for each of the [`coarse_rates`].
    pub(super) evidence: Vec<f64>,
}

impl<'a> Shop<'a> {
    /// Goes once through every plate's history. Plates are counted through the histories, which share the first one's
    /// prior.
    pub fn new(histories: &'a [History<'a>]) -> Self {
        let plate = |history: &'a History<'a>, index: usize| {
            let log_usage = history.usage.get(index).map_or(0.0, |usage| log(*usage));
            let events = &history.plates[index][..];
            let (grid, evidence) = wide_enough(history, events, log_usage);
            ShopPlate { history, events, log_usage, grid, evidence }
        };
        let all: Vec<(&History, usize)> = histories
            .iter()
            .flat_map(|history| (0..history.plates.len()).map(move |index| (history, index)))
            .collect();
        let plates: Vec<ShopPlate> =
            all.into_par_iter().map(|(history, index)| plate(history, index)).collect();
        let evidence: Vec<&[f64]> = plates.iter().map(|plate| plate.evidence.as_slice()).collect();
        let prior = histories.first().map_or_else(WearPrior::default, |history| history.prior.clone());
        let paces = Paces::new(&prior, &coarse_rates(&prior, 0.0), &evidence);
        Self { plates, paces }
    }

    /// How many plates there are.
    pub fn n_plates(&self) -> usize {
        self.plates.len()
    }

    /// A plate's events.
    pub fn events(&self, plate: usize) -> &'a [Event] {
        self.plates[plate].events
    }

    /// Fits a plate's wear to its history.
    pub fn fit(&self, plate: usize) -> PlateWear {
        let ShopPlate { events, grid, evidence, .. } = &self.plates[plate];
        self.fit_on(plate, events, grid, evidence)
    }

    /// The same with other events in place of the plate's own; the other plates say what they said.
    pub(super) fn fit_otherwise(&self, plate: usize, events: &[Event]) -> PlateWear {
        let of = &self.plates[plate];
        let (grid, evidence) = wide_enough(of.history, events, of.log_usage);
        self.fit_on(plate, events, &grid, &evidence)
    }

    fn fit_on(&self, plate: usize, events: &[Event], grid: &Grid, evidence: &[f64]) -> PlateWear {
        let of = &self.plates[plate];
        let coarse = coarse_rates(&of.history.prior, of.log_usage);
        let log_prior = |log_rate: f64| self.paces.log_density(plate, log_rate - of.log_usage);
        let support = support(&coarse, evidence, &log_prior);
        let plate = Plate::new(of.history, events, grid);
        let mut rates = spaced(support[0], support[1], FINE);
        if support[1] - support[0] < 5.0 * (coarse[1] - coarse[0]) {
            // A history that says much: where few rates are left, closer ones.
            for _ in 0..N_CLOSER {
                let fine: Vec<f64> = rates.iter().map(|&log_rate| plate.log_evidence(log_rate)).collect();
                let [low, high] = self::support(&rates, &fine, &log_prior);
                if high - low > 0.6 * (rates[FINE - 1] - rates[0]) {
                    break;
                }
                rates = spaced(low, high, FINE);
            }
        }
        plate.fit(&rates, &log_prior)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Evidence, Known};
    use super::*;

    /// What a certificate and years without one say does not depend on how far the grid reaches.
    #[test]
    fn halving_and_doubling_the_grid_changes_nothing() {
        let population: Vec<f64> = (0..400).map(|i| 1.0 + f64::from(i) / 200.0).collect();
        let certificate = |years: f64, estimate: f64| Event {
            years,
            evidence: Evidence::Certificate(Known::Normal { estimate, standard_uncertainty: 1.0 }),
        };
        for events in
            [Vec::new(), vec![certificate(-6.0, 2.0)], vec![certificate(-3.0, 4.0), certificate(-1.0, 9.0)]]
        {
            let fitted = |highest: f64| {
                fit(&History {
                    plates: vec![events.clone()],
                    today: 0.0,
                    usage: Vec::new(),
                    law: None,
                    population: &population,
                    highest,
                    prior: WearPrior::default(),
                })
                .remove(0)
            };
            let [a, b, c] = [6.0, 12.0, 24.0].map(fitted);
            for other in [&a, &c] {
                for years in [0.0, 1.0, 5.0, 20.0] {
                    let [p, q] = [&b, other].map(|wear| wear.exceeding(5.0, years));
                    assert!((p - q).abs() < 0.01, "{} events: out with {p} or {q}", events.len());
                    let [x, y] = [&b, other].map(|wear| wear.after(years));
                    for (x, y) in [(x.mean, y.mean), (x.ends[0], y.ends[0]), (x.ends[1], y.ends[1])] {
                        assert!((x - y).abs() < 0.06 + 0.01 * x, "{x} or {y} after {years} years");
                    }
                }
                // No end sticks at an edge.
                let ends = [5.0, 10.0, 20.0, 40.0].map(|years| other.after(years).ends[1]);
                assert!(ends.windows(2).all(|pair| pair[1] > pair[0] + 0.5), "{ends:?}");
            }
        }
    }
}
