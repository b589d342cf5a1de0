//! How far an answer leans on what was assumed and on what was read, and whether the two pull apart.

/// Sensitivities of a sample to the assumption and to the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerScaling {
    /// Of the whole distribution to the weight of the assumption: the cumulative Jensen-Shannon distance that it moves for
    /// each doubling of the assumption's power.
    pub assumption: f64,
    /// The same to the weight of the readings.
    pub readings: f64,
    /// By how much the mean moves, in the sample's unit, for each unit of the assumption's power, and of the readings'.
    pub pulls: [f64; 2],
}

/// From here on a sample is called sensitive.
pub const SENSITIVE: f64 = 0.05;
/// The power is raised, and lowered, by this factor.
const STEP: f64 = 1.01;

impl PowerScaling {
    /// Of an equally weighted sample with the logarithms of what was assumed (prior density) and of what was read
    /// (likelihood) for each draw: both are raised to a power near 1, one at a time (Kallioinen, Paananen,
    /// Bürkner and Vehtari, "Detecting and diagnosing prior and likelihood sensitivity with
    /// power-scaling", Statistics and Computing 34, 57, 2024, doi 10.1007/s11222-023-10366-5).
    pub fn new(sample: &[f64], log_assumed: &[f64], log_read: &[f64]) -> Self {
        let mut order: Vec<usize> = (0..sample.len()).collect();
        order.sort_by(|&a, &b| sample[a].total_cmp(&sample[b]));
        let sensitivity = |logs: &[f64]| {
            let distance = |power: f64| moved(sample, &order, logs, power - 1.0);
            (distance(STEP) + distance(1.0 / STEP)) / (2.0 * libm::log2(STEP))
        };
        let n = sample.len() as f64;
        let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
        let pull = |logs: &[f64]| {
            let (of_sample, of_logs) = (mean(sample), mean(logs));
            sample.iter().zip(logs).map(|(x, l)| (x - of_sample) * (l - of_logs)).sum::<f64>() / n
        };
        Self {
            assumption: sensitivity(log_assumed),
            readings: sensitivity(log_read),
            pulls: [pull(log_assumed), pull(log_read)],
        }
    }

    /// Whether assumption and readings both move the answer, and in opposite directions.
    pub fn pulls_apart(&self) -> bool {
        self.assumption >= SENSITIVE && self.readings >= SENSITIVE && self.pulls[0] * self.pulls[1] < 0.0
    }
}

/// The symmetric cumulative Jensen-Shannon distance, normalised (0 to 1), between a sample and the same with weights
/// `exp(by · log)`.
fn moved(sample: &[f64], order: &[usize], logs: &[f64], by: f64) -> f64 {
    let highest = logs.iter().map(|log| by * log).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|log| libm::exp(by * log - highest)).collect();
    let total: f64 = weights.iter().sum();
    let n = order.len() as f64;
    let (mut p, mut q) = (0.0, 0.0);
    let (mut divergence, mut bound) = (0.0, 0.0);
    for pair in order.windows(2) {
        p += 1.0 / n;
        q += weights[pair[0]] / total;
        let width = sample[pair[1]] - sample[pair[0]];
        let middle = 0.5 * (p + q);
        let term = |x: f64| if x > 0.0 { x * libm::log2(x / middle) } else { 0.0 };
        // The linear terms of the two divergences cancel.
        divergence += width * (term(p) + term(q));
        bound += width * (p + q);
    }
    if bound > 0.0 { (divergence / bound).max(0.0).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::student::{normal_cumulative, normal_quantile};

    /// A normal estimate y = 3 with standard uncertainty 1, of a quantity assumed as normal about 0 with 1: the posterior is
    /// normal about 1.5. With powers a and b it is normal about b y / (a + b), variance 1 / (a + b): distances worked out on
    /// these densities, instead of by weights.
    #[test]
    fn weights_move_a_normal_sample_as_its_closed_form_does() {
        let n = 20_000;
        let sample: Vec<f64> = (0..n)
            .map(|i| 1.5 + 0.5_f64.sqrt() * normal_quantile((f64::from(i) + 0.5) / f64::from(n)))
            .collect();
        let log_assumed: Vec<f64> = sample.iter().map(|x| -0.5 * x * x).collect();
        let log_read: Vec<f64> = sample.iter().map(|x| -0.5 * (x - 3.0) * (x - 3.0)).collect();
        let found = PowerScaling::new(&sample, &log_assumed, &log_read);
        let exact = |of_readings: bool| {
            let distance = |power: f64| {
                let (a, b) = if of_readings { (1.0, power) } else { (power, 1.0) };
                let (mean, deviation) = (3.0 * b / (a + b), (1.0 / (a + b)).sqrt());
                let (mut divergence, mut bound) = (0.0, 0.0);
                let (from, to) = (sample[0], sample[sample.len() - 1]);
                let steps = 40_000;
                let width = (to - from) / f64::from(steps);
                for i in 0..steps {
                    let x = from + (f64::from(i) + 0.5) * width;
                    let p = normal_cumulative((x - 1.5) / 0.5_f64.sqrt());
                    let q = normal_cumulative((x - mean) / deviation);
                    let middle = 0.5 * (p + q);
                    divergence += width * (p * (p / middle).log2() + q * (q / middle).log2());
                    bound += width * (p + q);
                }
                (divergence / bound).max(0.0).sqrt()
            };
            (distance(STEP) + distance(1.0 / STEP)) / (2.0 * STEP.log2())
        };
        assert!(
            (found.assumption / exact(false) - 1.0).abs() < 0.02,
            "{} {}",
            found.assumption,
            exact(false)
        );
        assert!((found.readings / exact(true) - 1.0).abs() < 0.02, "{} {}", found.readings, exact(true));
        // d(mean)/d(power): -y/4 and y/4 at powers of 1.
        assert!(
            (found.pulls[0] + 0.75).abs() < 0.01 && (found.pulls[1] - 0.75).abs() < 0.01,
            "{:?}",
            found.pulls
        );
        assert!(found.pulls_apart());
        // Where both say the same nothing pulls apart.
        let agreed: Vec<f64> = sample.iter().map(|x| -0.5 * (x - 1.5) * (x - 1.5)).collect();
        assert!(!PowerScaling::new(&sample, &agreed, &agreed).pulls_apart());
    }
}
