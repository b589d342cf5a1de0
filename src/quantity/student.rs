//! Student's t: the quantiles that coverage factors are made of.

use super::root::falling_root;
use libm::{erfc, exp, log, log1p, sqrt};
use statrs::function::beta::checked_beta_reg;
use std::f64::consts::{PI, SQRT_2};

/// From here on the expansion about the normal is used: it is at its best where the incomplete beta
/// function is at its worst.
const MANY: f64 = 400.0;

/// The value that t with `degrees_of_freedom` does not exceed with probability `p`.
///
/// The coverage factor for coverage probability P is `t_quantile((1 + P) / 2, ν)` (GUM G.3.2, table
/// G.2). `degrees_of_freedom` is any number above 0, whole or not; infinity gives the normal
/// quantile. Relative error below 1e-12 for p between 1e-6 and 1 − 1e-6, and below 3e-11 between 1e-12
/// and 1 − 1e-12. Not a number where the arguments mean nothing.
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
    // By symmetry in the upper tail, where a small probability keeps all its digits, and on
    // logarithmic scales, where that tail is concave and in the end straight.
    let tail = p.min(1.0 - p);
    let at_centre = gamma_ratio(nu) / sqrt(PI * nu);
    // The density is nowhere above its centre's, and nowhere above its power law's.
    let low = log((0.5 - tail) / at_centre);
    let high = (log(at_centre / tail) + 0.5 * (nu - 1.0) * log(nu)) / nu;
    if high > 200.0 {
        // So far out that the power law is all there is, and squares would overflow.
        return exp(high).copysign(p - 0.5);
    }
    let excess = |log_t: f64| {
        let t = exp(log_t);
        let beyond = t_cumulative(-t, nu);
        (log(beyond / tail), t * t_density(t, nu) / beyond)
    };
    let start = if tail < 0.25 { high } else { low };
    exp(falling_root(excess, low, high, start)).copysign(p - 0.5)
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
    if square < 3.0 {
        // Near the centre, where the tail's argument would be 1 but for its last digits.
        let inside = checked_beta_reg(0.5, 0.5 * nu, square / (nu + square)).unwrap_or(f64::NAN);
        return 0.5 + 0.5 * inside.copysign(t);
    }
    let tail = 0.5 * checked_beta_reg(0.5 * nu, 0.5, 1.0 / (1.0 + square / nu)).unwrap_or(f64::NAN);
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
pub fn normal_cumulative(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// Density of the standard normal at `z`.
pub(super) fn normal_density(z: f64) -> f64 {
    exp(-0.5 * z * z) / sqrt(2.0 * PI)
}

/// The value that a standard normal does not exceed with probability `p`: minus infinity at 0 and below, infinity at 1 and above.
///
/// The same on every machine to the last bit, and good to about 1e-16 of itself: algorithm AS 241 (Wichura, Applied Statistics 37,
/// 1988, 477-484), PPND16; its coefficients from memory, and checked.
pub fn normal_quantile(p: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 {
        return f64::INFINITY.copysign(p - 0.5);
    }
    let ratio = |over: &[f64; 8], under: &[f64; 8], x: f64| {
        let value = |of: &[f64; 8]| of.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient);
        value(over) / value(under)
    };
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return q * ratio(&CENTRE_OVER, &CENTRE_UNDER, 0.180_625 - q * q);
    }
    let r = sqrt(-log(p.min(1.0 - p)));
    let z = if r <= 5.0 {
        ratio(&SIDE_OVER, &SIDE_UNDER, r - 1.6)
    } else {
        ratio(&FAR_OVER, &FAR_UNDER, r - 5.0)
    };
    z.copysign(q)
}

// Numerators and denominators of AS 241, constants first.
const CENTRE_OVER: [f64; 8] = [
    3.3871328727963665,
    133.14166789178438,
    1971.5909503065513,
    13731.69376550946,
    45921.95393154987,
    67265.7709270087,
    33430.57558358813,
    2509.0809287301227,
];
const CENTRE_UNDER: [f64; 8] = [
    1.0,
    42.31333070160091,
    687.1870074920579,
    5394.196021424751,
    21213.794301586597,
    39307.89580009271,
    28729.085735721943,
    5226.495278852854,
];
const SIDE_OVER: [f64; 8] = [
    1.4234371107496835,
    4.630337846156546,
    5.769497221460691,
    3.6478483247632045,
    1.2704582524523684,
    0.2417807251774506,
    0.022723844989269184,
    0.0007745450142783414,
];
const SIDE_UNDER: [f64; 8] = [
    1.0,
    2.053191626637759,
    1.6763848301838038,
    0.6897673349851,
    0.14810397642748008,
    0.015198666563616457,
    0.0005475938084995345,
    1.0507500716444169e-09,
];
const FAR_OVER: [f64; 8] = [
    6.657904643501103,
    5.463784911164114,
    1.7848265399172913,
    0.29656057182850487,
    0.026532189526576124,
    0.0012426609473880784,
    2.7115555687434876e-05,
    2.0103343992922881e-07,
];
const FAR_UNDER: [f64; 8] = [
    1.0,
    0.599832206555888,
    0.1369298809227358,
    0.014875361290850615,
    0.0007868691311456133,
    1.8463183175100548e-05,
    1.421511758316446e-07,
    2.0442631033899397e-15,
];

/// `Γ((ν + 1)/2) / Γ(ν/2)`, for densities and for the expectation of a standard deviation.
fn gamma_ratio(nu: f64) -> f64 {
    // Upwards in steps of 2 by Γ(x + 1) = x Γ(x), to where the expansion of the difference of both logarithms in 1/ν has
    // all its digits (Stirling's series; the next term is below 1e-16 from ν = 100 on). The logarithms
    // themselves, being large, would lose some.
    let (mut nu, mut factor) = (nu, 1.0);
    while nu < 100.0 {
        factor *= nu / (nu + 1.0);
        nu += 2.0;
    }
    let r = 1.0 / nu;
    let r2 = r * r;
    factor * exp(0.5 * log(0.5 * nu) - r * (0.25 - r2 * (1.0 / 24.0 - r2 * (1.0 / 20.0 - r2 * 17.0 / 112.0))))
}

/// t as a function of the normal quantile z, for many degrees of freedom (Abramowitz and Stegun,
/// Handbook of Mathematical Functions, 1964, 26.7.5; the fifth term from memory of Johnson, Kotz and Balakrishnan,
/// Continuous Univariate Distributions 2, 1995, and checked: with it the error falls as 1/ν⁶).
fn t_from_normal(z: f64, nu: f64) -> f64 {
    let q = z * z;
    let g1 = (q + 1.0) / 4.0;
    let g2 = ((5.0 * q + 16.0) * q + 3.0) / 96.0;
    let g3 = (((3.0 * q + 19.0) * q + 17.0) * q - 15.0) / 384.0;
    let g4 = ((((79.0 * q + 776.0) * q + 1482.0) * q - 1920.0) * q - 945.0) / 92_160.0;
    let g5 = (((((27.0 * q + 339.0) * q + 930.0) * q - 1782.0) * q - 765.0) * q + 17_955.0) / 368_640.0;
    z * (1.0 + (g1 + (g2 + (g3 + (g4 + g5 / nu) / nu) / nu) / nu) / nu)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn check(p: f64, nu: f64, expected: f64, relative: f64) {
        let found = t_quantile(p, nu);
        assert!((found / expected - 1.0).abs() <= relative, "t({p}, {nu}) is {found}, expected {expected}");
    }

    #[test]
    fn one_two_and_four_degrees_of_freedom_have_closed_forms() {
        // Shaw, Journal of Computational Finance 9 (4), 2006: the quantile is elementary for 1, 2, 4.
        for p in [1e-9, 1e-4, 0.025, 0.2, 0.4999, 0.6, 0.95, 0.995, 0.9999] {
            let q: f64 = 2.0 * p - 1.0;
            let alpha = 4.0 * p * (1.0 - p);
            check(p, 1.0, -1.0 / libm::tan(PI * p), 1e-12);
            check(p, 2.0, q * sqrt(2.0 / alpha), 1e-12);
            if q.abs() > 0.1 {
                // Nearer to the centre it cancels.
                let c = libm::cos(libm::acos(sqrt(alpha)) / 3.0) / sqrt(alpha);
                check(p, 4.0, (2.0 * sqrt(c - 1.0)).copysign(q), 1e-12);
            }
        }
    }

    #[test]
    fn many_degrees_of_freedom_end_at_the_normal() {
        for nu in [1e8, 1e12, f64::MAX, f64::INFINITY] {
            // 1.959 963 984 540 054: the normal quantile, to more digits than GUM table G.1.
            check(0.975, nu, 1.959_963_984_540_054, 2e-8);
        }
        check(0.975, f64::INFINITY, 1.959_963_984_540_054, 1e-15);
        assert_eq!(t_quantile(0.5, f64::INFINITY), 0.0);
    }

    #[test]
    fn the_expansion_and_the_incomplete_beta_function_meet() {
        let just_below = MANY - 1e-9;
        for p in [1e-6, 0.001, 0.025, 0.3, 0.84, 0.975, 0.995] {
            check(p, just_below, t_quantile(p, MANY), 1e-11);
            let t = t_quantile(p, MANY);
            let [below, above] = [t_cumulative(t, just_below), t_cumulative(t, MANY)];
            assert!((below / above - 1.0).abs() < 1e-10, "{below} {above} at {t}");
        }
        for nu in [99.9999999, 100.0] {
            // Γ(50.5)/Γ(50) = √π · 99!!/(98!! · 2^…): from lgamma of libm, good to its last digits.
            let expected = libm::exp(libm::lgamma(0.5 * (nu + 1.0)) - libm::lgamma(0.5 * nu));
            assert!((gamma_ratio(nu) / expected - 1.0).abs() < 1e-12);
        }
    }

    /// Against the inverse error function of a library that knows nothing of AS 241, and against its own inverse.
    #[test]
    fn the_normal_quantile_is_the_inverse_of_the_cumulative() {
        for k in 1..2000 {
            for p in [f64::from(k) / 2000.0, libm::pow(10.0, -0.15 * f64::from(k))] {
                let (z, theirs) = (normal_quantile(p), -SQRT_2 * statrs::function::erf::erfc_inv(2.0 * p));
                assert!((z - theirs).abs() <= 4e-15 * theirs.abs().max(0.01), "{p}: {z} {theirs}");
                assert!((normal_cumulative(z) / p - 1.0).abs() < 1e-12, "{p}");
            }
        }
        assert_eq!(normal_quantile(0.5), 0.0);
        assert_eq!([normal_quantile(0.0), normal_quantile(1.0)], [f64::NEG_INFINITY, f64::INFINITY]);
        assert!(normal_quantile(f64::NAN).is_nan());
    }

    #[test]
    fn the_ends_and_the_meaningless() {
        assert_eq!([t_quantile(0.0, 3.0), t_quantile(1.0, 3.0)], [f64::NEG_INFINITY, f64::INFINITY]);
        assert_eq!(t_quantile(0.5, 3.0), 0.0);
        for (p, nu) in [(f64::NAN, 3.0), (-0.1, 3.0), (1.1, 3.0), (0.5, 0.0), (0.5, -1.0), (0.5, f64::NAN)] {
            assert!(t_quantile(p, nu).is_nan(), "t({p}, {nu})");
        }
        assert_eq!([t_cumulative(f64::INFINITY, 3.0), t_cumulative(f64::NEG_INFINITY, 3.0)], [1.0, 0.0]);
        check(1e-300, 1.0, -1.0 / (PI * 1e-300), 1e-9);
        check(1e-300, 2.0, -sqrt(0.5 / 1e-300), 1e-12);
        for nu in [0.1, 0.5, 3.0, 30.0, 300.0, 999.0] {
            for p in [1e-12, 1e-6, 0.2, 0.4, 0.499_999] {
                let t = t_quantile(p, nu);
                assert!((t_cumulative(t, nu) / p - 1.0).abs() < 1e-11, "{t} for {p}, {nu}");
            }
        }
    }
}
