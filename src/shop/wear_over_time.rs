//! How a plate's flatness deviation grows with use.

use crate::quantity::incomplete_gamma::IncompleteGamma;

/// Wear as a gamma process: what is gone never comes back, and how much goes in one year says
/// nothing of the next.
///
/// Over a time `t` (years) the flatness deviation grows by a gamma quantity of mean `rate · t` and
/// variance `rate · unevenness · t`: the usual model of monotone, uneven deterioration (J. M. van
/// Noortwijk, "A survey of the application of gamma processes in maintenance", Reliability
/// Engineering and System Safety 94, 2009, 2-21, eqs 1 to 3). An unevenness of 0 is steady wear.
/// That it suits surface plates is an assumption; no published series of one plate was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearProcess {
    /// Mean growth of the flatness deviation, in µm a year; above 0.
    pub rate: f64,
    /// Variance of the growth over its mean, in µm: about the size of the steps in which wear comes.
    pub unevenness: f64,
}

impl WearProcess {
    /// Distribution of the growth over `years`, on the nodes 0, h, 2h, … of a grid of `spacing` h
    /// (µm); `n_nodes` of them at most.
    ///
    /// What lies between two nodes is shared by both so that the mean is kept. The list ends where
    /// less than 1e-13 is left, or at the last node; what lies beyond is missing from its sum.
    pub fn growth(&self, years: f64, spacing: f64, n_nodes: usize) -> Vec<f64> {
        let mean = self.rate * years;
        if n_nodes == 0 || mean.is_nan() || mean <= 0.0 {
            return vec![1.0; n_nodes.min(1)];
        }
        // A shape beyond this is steady wear to within a thousandth of its mean, which no check sees.
        const LARGEST_SHAPE: f64 = 1e6;
        let shape = mean / self.unevenness;
        if shape.is_nan() || shape > LARGEST_SHAPE {
            return steady(mean / spacing, n_nodes);
        }
        let gamma = IncompleteGamma::new(shape);
        // E[(x − G)⁺] by E[G; G ≤ x] = mean · P(a + 1, x/θ), of which the second difference is the
        // share of each node.
        let shortfall = |x: f64| {
            let scaled = x / self.unevenness;
            let (below, front) = gamma.lower_with_front(scaled);
            let mean_below = mean * (below - front / shape);
            (x * below - mean_below, below)
        };
        let mut shares = Vec::new();
        let (mut last, (mut here, mut below)) = (0.0, (0.0, 0.0));
        for node in 0..n_nodes {
            let next = if 1.0 - below < 1e-14 {
                // Past the whole distribution it is a straight line.
                (here + spacing, 1.0)
            } else {
                shortfall(spacing * (node + 1) as f64)
            };
            let share = if node == 0 { next.0 / spacing } else { (next.0 - 2.0 * here + last) / spacing };
            shares.push(share.max(0.0));
            if 1.0 - below < 1e-13 {
                break;
            }
            (last, here, below) = (here, next.0, next.1);
        }
        shares
    }
}

/// All of the growth at one place, counted in nodes.
fn steady(nodes: f64, n_nodes: usize) -> Vec<f64> {
    let whole = libm::floor(nodes);
    let mut shares = vec![0.0; (whole as usize).saturating_add(2).min(n_nodes)];
    for (offset, share) in [(0, 1.0 - (nodes - whole)), (1, nodes - whole)] {
        if let Some(place) = shares.get_mut((whole as usize).saturating_add(offset)) {
            *place = share;
        }
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(shares: &[f64], spacing: f64) -> (f64, f64, f64) {
        let sum: f64 = shares.iter().sum();
        let mean: f64 = shares.iter().enumerate().map(|(k, p)| k as f64 * spacing * p).sum();
        let square: f64 = shares.iter().enumerate().map(|(k, p)| (k as f64 * spacing).powi(2) * p).sum();
        (sum, mean, square - mean * mean)
    }

    /// Mean `r t` exactly, variance `r θ t` and at most a quarter of the spacing squared more.
    #[test]
    fn the_moments_are_those_of_the_process() {
        let spacing = 0.05;
        for (rate, unevenness, years) in
            [(0.5, 0.1, 1.0), (2.0, 0.5, 0.7), (0.05, 0.02, 0.01), (0.8, 0.02, 4.0), (1.3, 0.0, 0.37)]
        {
            let process = WearProcess { rate, unevenness };
            let (sum, mean, variance) = moments(&process.growth(years, spacing, 2000), spacing);
            assert!((sum - 1.0).abs() < 1e-10, "{sum}");
            assert!((mean - rate * years).abs() < 1e-9, "{mean} {}", rate * years);
            let surplus = variance - rate * unevenness * years;
            assert!((-1e-9..=0.25 * spacing * spacing + 1e-9).contains(&surplus), "{surplus}");
        }
    }

    #[test]
    fn no_time_no_wear_and_what_leaves_the_grid_is_missing() {
        let process = WearProcess { rate: 1.0, unevenness: 0.1 };
        assert_eq!(process.growth(0.0, 0.1, 10), [1.0]);
        let (sum, ..) = moments(&process.growth(1.0, 0.1, 10), 0.1);
        assert!((0.2..0.8).contains(&sum), "{sum}");
        assert_eq!(WearProcess { rate: 1.0, unevenness: 0.0 }.growth(1.0, 0.4, 2), [0.0, 0.0]);
    }
}
