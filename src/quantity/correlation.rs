//! Correlated input quantities.

use nalgebra::DMatrix;
use std::fmt;

/// The correlation coefficients of several quantities: symmetric, ones on the diagonal, and possible.
///
/// Possible means positive semi-definite: `r = ±1` is, and so is a quantity fixed by others; `A`
/// that follows `B`, `B` that follows `C` and `C` that runs against `A` is not.
#[derive(Debug, Clone, PartialEq)]
pub struct Correlation {
    n: usize,
    /// Row by row, `n × n`.
    coefficients: Vec<f64>,
}

/// Correlation coefficients that no quantities can have.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrelationError {
    /// The quantities it concerns.
    pub names: Vec<String>,
    /// What stands there: "their correlation is 1.2".
    pub found: String,
    /// What it must be.
    pub must: String,
    /// What to write instead.
    pub fix: String,
}

impl fmt::Display for CorrelationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}, but must {}; {}", self.names.join(", "), self.found, self.must, self.fix)
    }
}

impl std::error::Error for CorrelationError {}

impl Correlation {
    /// Independent quantities.
    pub fn none(n: usize) -> Self {
        let coefficients = (0..n * n).map(|k| if k / n == k % n { 1.0 } else { 0.0 }).collect();
        Self { n, coefficients }
    }

    /// The coefficients of the named pairs; all other pairs are independent.
    ///
    /// Refuses a name that is not in `names`, a quantity paired with itself, a pair given twice, a
    /// coefficient outside −1 to 1, and coefficients that contradict each other.
    pub fn from_pairs(names: &[&str], pairs: &[(&str, &str, f64)]) -> Result<Self, CorrelationError> {
        let mut correlation = Self::none(names.len());
        let mut given = vec![false; names.len() * names.len()];
        for &(first, second, r) in pairs {
            let refuse = |found: &str, must: &str, fix: &str| {
                Err(CorrelationError {
                    names: vec![first.into(), second.into()],
                    found: found.into(),
                    must: must.into(),
                    fix: fix.into(),
                })
            };
            let place = |name| names.iter().position(|&known| known == name);
            let (Some(i), Some(j)) = (place(first), place(second)) else {
                let unknown = if place(first).is_none() { first } else { second };
                return refuse(
                    &format!("`{unknown}` is no input quantity"),
                    "be two of the input quantities",
                    &format!("write two of {}", names.join(", ")),
                );
            };
            if i == j {
                return refuse(
                    "both are the same quantity",
                    "be two quantities",
                    "leave the pair out: a quantity always follows itself",
                );
            }
            if !(-1.0..=1.0).contains(&r) {
                return refuse(
                    &format!("their correlation is {r}"),
                    "lie between -1 and 1",
                    "divide the covariance by both standard uncertainties",
                );
            }
            if given[i * names.len() + j] {
                return refuse("the pair is given twice", "be given once", "leave one of the two out");
            }
            for k in [i * names.len() + j, j * names.len() + i] {
                correlation.coefficients[k] = r;
                given[k] = true;
            }
        }
        correlation.check_possible(names)?;
        Ok(correlation)
    }

    /// From coefficients that are possible because they were computed from data, row by row.
    pub(super) fn from_data(n: usize, coefficients: Vec<f64>) -> Self {
        Self { n, coefficients }
    }

    /// How many quantities.
    pub fn n_quantities(&self) -> usize {
        self.n
    }

    /// The coefficient of quantities `i` and `j`, counted from 0.
    pub fn coefficient(&self, i: usize, j: usize) -> f64 {
        self.coefficients[i * self.n + j]
    }

    /// The factor L of `L Lᵀ`, by which independent normals become correlated ones
    /// (JCGM 101:2008, 6.4.8.4 and C.5).
    pub fn factor(&self) -> Factor {
        let n = self.n;
        let mut l = vec![0.0; n * n];
        for j in 0..n {
            let so_far: f64 = (0..j).map(|k| l[j * n + k] * l[j * n + k]).sum();
            let pivot = 1.0 - so_far;
            // A quantity that is fixed by those before it has nothing of its own left.
            if pivot <= 1e-15 * n as f64 {
                continue;
            }
            let root = libm::sqrt(pivot);
            l[j * n + j] = root;
            for i in j + 1..n {
                let shared: f64 = (0..j).map(|k| l[i * n + k] * l[j * n + k]).sum();
                l[i * n + j] = (self.coefficient(i, j) - shared) / root;
            }
        }
        Factor { n, l }
    }

    fn check_possible(&self, names: &[&str]) -> Result<(), CorrelationError> {
        let eigen = DMatrix::from_row_slice(self.n, self.n, &self.coefficients).symmetric_eigen();
        let least = (0..self.n).min_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
        let Some(least) = least.filter(|&k| eigen.eigenvalues[k] < -1e-12 * self.n as f64) else {
            return Ok(());
        };
        // The combination of the quantities that would have a negative variance names the culprits.
        let weights = eigen.eigenvectors.column(least);
        let culprits = names.iter().zip(weights.iter()).filter(|(_, weight)| weight.abs() > 1e-6);
        Err(CorrelationError {
            names: culprits.map(|(&name, _)| name.to_owned()).collect(),
            found: format!(
                "their correlations contradict each other (least eigenvalue {:.2e})",
                eigen.eigenvalues[least]
            ),
            must: "leave every sum of them a variance of at least 0".into(),
            fix: "bring the coefficients nearer to 0, or give them with more digits if they were rounded"
                .into(),
        })
    }
}

/// What turns independent normals into correlated ones: lower triangular.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    n: usize,
    /// Row by row, `n × n`.
    l: Vec<f64>,
}

impl Factor {
    /// Turns independent standard normals, one a quantity, into such as have these correlations, in place: the draw of
    /// quantity i is then `x_i + u_i z_i` (JCGM 101 table 1, multivariate normal). Later quantities never move the draws
    /// of earlier ones.
    #[inline]
    pub fn correlate(&self, z: &mut [f64]) {
        // From the last to the first, so that what a row needs has not been overwritten.
        for i in (0..z.len().min(self.n)).rev() {
            z[i] = self.l[i * self.n..=i * self.n + i].iter().zip(z.iter()).map(|(l, z)| l * z).sum();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::draw::StandardNormal;
    use crate::quantity::stream::Streams;
    use rand::Rng;
    use rand_distr::Distribution as _;

    fn product(factor: &Factor) -> Vec<f64> {
        let n = factor.n;
        let entry = |i: usize, j: usize| (0..n).map(|k| factor.l[i * n + k] * factor.l[j * n + k]).sum();
        (0..n * n).map(|k| entry(k / n, k % n)).collect()
    }

    fn draw(factor: &Factor, draws: &mut impl Rng) -> [f64; 3] {
        let mut z = [(); 3].map(|()| StandardNormal.sample(draws));
        factor.correlate(&mut z);
        z
    }

    fn check_factor(names: &[&str], pairs: &[(&str, &str, f64)]) -> Correlation {
        let correlation = Correlation::from_pairs(names, pairs).expect("possible");
        for (found, expected) in product(&correlation.factor()).iter().zip(&correlation.coefficients) {
            assert!((found - expected).abs() < 1e-14, "{found} for {expected} in {pairs:?}");
        }
        correlation
    }

    #[test]
    fn the_factor_gives_the_coefficients_back() {
        check_factor(&["a"], &[]);
        check_factor(&["a", "b", "c"], &[("a", "b", -0.36), ("c", "a", 0.86), ("b", "c", -0.65)]);
        check_factor(&["a", "b"], &[("a", "b", 1.0)]);
        check_factor(&["a", "b"], &[("a", "b", -1.0)]);
        check_factor(&["a", "b", "c"], &[("a", "b", 1.0), ("b", "c", -1.0), ("a", "c", -1.0)]);
        // c = (a + b)/√2, fixed by two others to rounding; d follows a, hence c.
        let half = std::f64::consts::FRAC_1_SQRT_2;
        let pairs = [("a", "c", half), ("b", "c", half), ("d", "a", 0.1), ("d", "c", 0.1 * half)];
        check_factor(&["a", "b", "c", "d"], &pairs);
    }

    #[test]
    fn r_of_one_draws_the_same_number_twice() {
        let factor = check_factor(&["a", "b", "c"], &[("a", "b", 1.0)]).factor();
        let z = draw(&factor, &mut Streams::new(1).source("group").trial(0));
        assert_eq!(z[0], z[1]);
        assert_ne!(z[0], z[2]);
    }

    #[test]
    fn a_million_draws_have_the_coefficients() {
        let pairs = [("a", "b", -0.36), ("a", "c", 0.86), ("b", "c", -0.65)];
        let correlation = check_factor(&["a", "b", "c"], &pairs);
        let factor = correlation.factor();
        let source = Streams::new(20).source("group");
        let n = 1_000_000;
        let mut sums = [0.0; 9];
        for trial in 0..n {
            let z = draw(&factor, &mut source.trial(trial));
            for (k, sum) in sums.iter_mut().enumerate() {
                *sum += z[k / 3] * z[k % 3];
            }
        }
        for (k, sum) in sums.iter().enumerate() {
            // The mean product of n pairs has variance (1 + r²)/n; 5 standard deviations, six different
            // entries: a false alarm in 3e5 seeds.
            let r = correlation.coefficient(k / 3, k % 3);
            let limit = 5.0 * libm::sqrt((1.0 + r * r) / n as f64);
            let found = sum / n as f64;
            assert!((found - r).abs() < limit, "entry {k}: {found} for {r}");
        }
    }

    #[test]
    fn impossible_coefficients_are_refused() {
        let names = ["a", "b", "c", "d"];
        let refusal = |pairs: &[(&str, &str, f64)]| {
            Correlation::from_pairs(&names, pairs).expect_err("refused").to_string()
        };
        assert_eq!(
            refusal(&[("a", "x", 0.5)]),
            "a, x: `x` is no input quantity, but must be two of the input quantities; write two of a, b, c, d"
        );
        assert_eq!(
            refusal(&[("a", "b", 1.2)]),
            "a, b: their correlation is 1.2, but must lie between -1 and 1; divide the covariance by both \
             standard uncertainties"
        );
        assert!(refusal(&[("a", "b", f64::NAN)]).contains("between -1 and 1"));
        assert!(refusal(&[("a", "a", 1.0)]).contains("same quantity"));
        assert!(refusal(&[("a", "b", 0.1), ("b", "a", 0.1)]).contains("twice"));
        // Eigenvalues of a, b, c with r = 0.9, 0.9, −0.9: 1.9, 1.9, −0.8.
        assert_eq!(
            refusal(&[("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)]),
            "a, b, c: their correlations contradict each other (least eigenvalue -8.00e-1), but must leave \
             every sum of them a variance of at least 0; bring the coefficients nearer to 0, or give them \
             with more digits if they were rounded"
        );
    }
}
