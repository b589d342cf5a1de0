//! Student's t: the quantiles that coverage factors are made of.

use libm::{erfc, exp, log, log1p, sqrt};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::{beta::beta_reg, erf::erfc_inv, gamma::ln_gamma};
use std::f64::consts::{PI, SQRT_2};

/// From here on the expansion about the normal is used: it is at its best where the incomplete beta
/// function is at its worst.
const MANY: f64 = 1000.0;

/// The value that t with `degrees_of_freedom` does not exceed with probability `p`.
///
/// The coverage factor for coverage probability P is `t_quantile((1 + P) / 2, ν)` (GUM G.3.2, table
/// G.2). `degrees_of_freedom` is any number above 0, whole or not; infinity gives the normal
/// quantile. Relative error below 1e-12 for p between 1e-6 and 1 − 1e-6. Not a number where the
/// arguments mean nothing.
pub fn t_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    let nu = degrees_of_freedom;
    if !(0.0..=1.0).contains(&p) || nu.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    if p == 0.5 {
        return 0.0;
    }
    if nu >= MANY {
        return t_from_normal(normal_quantile(p), nu);
    }
    // By symmetry in the lower tail, where a small probability keeps all its digits.
    let tail = p.min(1.0 - p);
    let Ok(library) = StudentsT::new(0.0, 1.0, nu) else { return f64::NAN };
    let mut t = library.inverse_cdf(tail);
    for _ in 0..4 {
        let step = (t_cumulative(t, nu) - tail) / t_density(t, nu);
        // Out in a heavy tail a full step can overshoot the centre.
        t = (t - step).max(2.0 * t).min(0.5 * t);
        if step.abs() <= 1e-15 * t.abs() {
            break;
        }
    }
    if p < 0.5 { t } else { -t }
}

/// Probability that t with `degrees_of_freedom` is at or below `t`.
pub fn t_cumulative(t: f64, degrees_of_freedom: f64) -> f64 {
    let nu = degrees_of_freedom;
    if t.is_nan() || nu.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if nu >= MANY {
        return normal_cumulative(normal_from_t(t, nu));
    }
    let square = t * t;
    if square < nu {
        let inside = beta_reg(0.5, 0.5 * nu, square / (nu + square));
        return 0.5 + 0.5 * inside.copysign(t);
    }
    let tail = 0.5 * beta_reg(0.5 * nu, 0.5, 1.0 / (1.0 + square / nu));
    if t < 0.0 { tail } else { 1.0 - tail }
}

/// Density of t with `degrees_of_freedom` at `t`.
pub fn t_density(t: f64, degrees_of_freedom: f64) -> f64 {
    let nu = degrees_of_freedom;
    if nu == f64::INFINITY {
        return normal_density(t);
    }
    exp(-0.5 * (nu + 1.0) * log1p(t * t / nu)) * gamma_ratio(nu) / sqrt(PI * nu)
}

/// Probability that a standard normal is at or below `z`.
pub(super) fn normal_cumulative(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// Density of the standard normal at `z`.
pub(super) fn normal_density(z: f64) -> f64 {
    exp(-0.5 * z * z) / sqrt(2.0 * PI)
}

/// The value that a standard normal does not exceed with probability `p`.
pub(super) fn normal_quantile(p: f64) -> f64 {
    -SQRT_2 * erfc_inv(2.0 * p)
}

/// `Γ((ν + 1)/2) / Γ(ν/2)`, for densities and for the expectation of a standard deviation.
pub(super) fn gamma_ratio(nu: f64) -> f64 {
    if nu < 100.0 {
        return exp(ln_gamma(0.5 * (nu + 1.0)) - ln_gamma(0.5 * nu));
    }
    // The difference of two large logarithms would lose digits; its expansion in 1/ν does not
    // (Stirling's series for both; the next term is below 1e-16 from ν = 100 on).
    let r = 1.0 / nu;
    let r2 = r * r;
    exp(0.5 * log(0.5 * nu) - r * (0.25 - r2 * (1.0 / 24.0 - r2 * (1.0 / 20.0 - r2 * 17.0 / 112.0))))
}

/// t as a function of the normal quantile z, for many degrees of freedom (Abramowitz and Stegun,
/// Handbook of Mathematical Functions, 1964, 26.7.5).
fn t_from_normal(z: f64, nu: f64) -> f64 {
    let q = z * z;
    let g1 = (q + 1.0) / 4.0;
    let g2 = ((5.0 * q + 16.0) * q + 3.0) / 96.0;
    let g3 = (((3.0 * q + 19.0) * q + 17.0) * q - 15.0) / 384.0;
    let g4 = ((((79.0 * q + 776.0) * q + 1482.0) * q - 1920.0) * q - 945.0) / 92_160.0;
    z * (1.0 + (g1 + (g2 + (g3 + g4 / nu) / nu) / nu) / nu)
}

/// The inverse of [`t_from_normal`]; the start is the leading term of −2 ln of the density, exact
/// enough for Newton's method to need a few steps only.
fn normal_from_t(t: f64, nu: f64) -> f64 {
    if nu == f64::INFINITY || t.is_infinite() {
        return t;
    }
    let mut z = sqrt(nu * log1p(t * t / nu)).copysign(t);
    for _ in 0..8 {
        let h = 1e-6 * z.abs().max(1e-3);
        let slope = (t_from_normal(z + h, nu) - t_from_normal(z - h, nu)) / (2.0 * h);
        let step = (t_from_normal(z, nu) - t) / slope;
        z -= step;
        if step.abs() <= 1e-15 * z.abs() {
            break;
        }
    }
    z
}
