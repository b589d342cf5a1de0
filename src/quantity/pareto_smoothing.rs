//! Importance weights with a long tail, smoothed, and whether they can be trusted.

/// Weights that sum to 1, and the shape of their tail.
#[derive(Debug, Clone, PartialEq)]
pub struct Smoothed {
    /// In the order of the ratios.
    pub weights: Vec<f64>,
    /// Estimated shape of the generalised Pareto distribution that the largest weights follow. Above
    /// [`TRUSTED`] a mean taken with the weights is not to be relied on. Minus infinity where no
    /// weight stands out, infinity where too few do to tell.
    pub k: f64,
}

/// The largest shape with which weights are to be relied on (for samples of some hundred and more).
pub const TRUSTED: f64 = 0.7;

/// Pareto-smoothed importance weights of log ratios (Vehtari, Simpson, Gelman, Yao and Gabry, "Pareto
/// smoothed importance sampling", Journal of Machine Learning Research 25 (72), 2024): the `3 √n`
/// largest, a fifth at most, are replaced by quantiles of the generalised Pareto distribution fitted to them,
/// none larger than the largest ratio.
///
/// Empty for no ratios.
pub fn smoothed_weights(log_ratios: &[f64]) -> Smoothed {
    let n = log_ratios.len();
    let highest = log_ratios.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weights: Vec<f64> = log_ratios.iter().map(|log| libm::exp(log - highest)).collect();
    let n_tail = (0.2 * n as f64).min(3.0 * (n as f64).sqrt()).ceil() as usize;
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| weights[a].total_cmp(&weights[b]));
    let mut k = f64::NEG_INFINITY;
    if n > n_tail {
        let threshold = weights[order[n - n_tail - 1]];
        let tail: Vec<usize> =
            order[n - n_tail..].iter().copied().filter(|&i| weights[i] > threshold).collect();
        if tail.len() > 4 {
            let excesses: Vec<f64> = tail.iter().map(|&i| weights[i] - threshold).collect();
            let [shape, scale] = generalised_pareto(&excesses);
            k = shape;
            if shape.is_finite() && scale.is_finite() {
                for (rank, &i) in tail.iter().enumerate() {
                    let p = (rank as f64 + 0.5) / tail.len() as f64;
                    let excess = if shape.abs() < 1e-12 {
                        -scale * libm::log1p(-p)
                    } else {
                        scale * libm::expm1(-shape * libm::log1p(-p)) / shape
                    };
                    weights[i] = (threshold + excess).min(1.0);
                }
            }
        } else if !tail.is_empty() {
            k = f64::INFINITY;
        }
    }
    let sum: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|weight| *weight /= sum);
    Smoothed { weights, k }
}

/// Shape and scale of excesses over a threshold, rising (Zhang and Stephens, "A new and efficient
/// estimation method for the generalized Pareto distribution", Technometrics 51, 2009, 316-325), the
/// shape drawn towards 1/2 as by ten further excesses (Vehtari et al., appendix).
fn generalised_pareto(excesses: &[f64]) -> [f64; 2] {
    let n = excesses.len() as f64;
    let n_grid = 30 + n.sqrt() as usize;
    let quartile = excesses[(n / 4.0 + 0.5) as usize - 1];
    let largest = excesses[excesses.len() - 1];
    let shape_of = |b: f64| excesses.iter().map(|x| libm::log1p(-b * x)).sum::<f64>() / n;
    let grid: Vec<f64> = (1..=n_grid)
        .map(|i| 1.0 / largest + (1.0 - (n_grid as f64 / (i as f64 - 0.5)).sqrt()) / (3.0 * quartile))
        .collect();
    let logs: Vec<f64> = grid
        .iter()
        .map(|&b| {
            let k = shape_of(b);
            n * (libm::log(-b / k) - k - 1.0)
        })
        .collect();
    let highest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut b) = (0.0, 0.0);
    for (log, at) in logs.iter().zip(&grid) {
        let weight = libm::exp(log - highest);
        sum += weight;
        b += weight * at;
    }
    b /= sum;
    let shape = shape_of(b);
    [(n * shape + 10.0 * 0.5) / (n + 10.0), -shape / b]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against a general-purpose library: `tests/reference/pareto_smoothing.py`.
    #[test]
    fn weights_are_those_of_a_library() {
        let text = include_str!("../../tests/reference/pareto_smoothing.json");
        let reference: serde_json::Value = serde_json::from_str(text).expect("JSON");
        for case in reference["cases"].as_array().expect("cases") {
            let (n, shape) = (case["n"].as_u64().expect("n"), case["shape"].as_f64().expect("shape"));
            let ratios: Vec<f64> = (0..n)
                .map(|i| {
                    let u = ((i as f64 * 0.618_033_988_749_894_9) % 1.0) * 0.998 + 0.001;
                    -shape * (-u).ln_1p()
                })
                .collect();
            let Smoothed { mut weights, k } = smoothed_weights(&ratios);
            assert!((k - case["k"].as_f64().expect("k")).abs() < 1e-9, "{k} {case}");
            let squares: f64 = weights.iter().map(|w| w * w).sum();
            assert!((squares - case["squares"].as_f64().expect("squares")).abs() < 1e-12, "{squares} {case}");
            weights.sort_by(|a, b| b.total_cmp(a));
            for (weight, largest) in weights.iter().zip(case["largest"].as_array().expect("largest")) {
                assert!((weight - largest.as_f64().expect("weight")).abs() < 1e-12, "{weight} {largest}");
            }
        }
    }

    #[test]
    fn equal_ratios_give_equal_weights() {
        let Smoothed { weights, k } = smoothed_weights(&[2.5; 50]);
        assert!(weights.iter().all(|w| (w - 0.02).abs() < 1e-15));
        assert_eq!(k, f64::NEG_INFINITY);
        assert!(smoothed_weights(&[]).weights.is_empty());
    }
}
