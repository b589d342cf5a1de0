//! Draws of the standard distributions, the same to the last bit on every machine.
//!
//! They are `rand_distr`'s, number for number, but for what that takes from the system's mathematics: a logarithm in the far tails, and a
//! power for gammas of small shape. A processor, a system or a browser that rounds these otherwise would give another plate.

use rand::{Rng, RngExt, TryRng, distr::Open01};
use rand_distr::Distribution;
use std::convert::Infallible;

/// A normal quantity of mean 0 and standard deviation 1.
#[derive(Debug, Clone, Copy)]
pub struct StandardNormal;

/// An exponential quantity of mean 1.
#[derive(Debug, Clone, Copy)]
pub struct Exp1;

/// Where the tails of the ziggurats begin (Marsaglia and Tsang, "The ziggurat method for generating random variables", Journal of
/// Statistical Software 5(8), 2000, for 256 layers; these are `rand_distr`'s).
const NORMAL_TAIL: f64 = 3.654_152_885_361_009;
const EXPONENTIAL_TAIL: f64 = 7.697_117_470_131_05;

impl Distribution<f64> for StandardNormal {
    #[inline]
    fn sample<R: Rng + ?Sized>(&self, draws: &mut R) -> f64 {
        let mut kept = Kept { draws, last: [0; 2] };
        let value: f64 = rand_distr::StandardNormal.sample(&mut kept);
        if value.abs() < NORMAL_TAIL {
            return value;
        }
        // The last but one of the numbers that were taken made it.
        let beyond = libm::log(open(kept.last[0])) / NORMAL_TAIL;
        if value < 0.0 { beyond - NORMAL_TAIL } else { NORMAL_TAIL - beyond }
    }
}

impl Distribution<f64> for Exp1 {
    #[inline]
    fn sample<R: Rng + ?Sized>(&self, draws: &mut R) -> f64 {
        let mut kept = Kept { draws, last: [0; 2] };
        let value: f64 = rand_distr::Exp1.sample(&mut kept);
        if value < EXPONENTIAL_TAIL {
            return value;
        }
        EXPONENTIAL_TAIL - libm::log((kept.last[1] >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

/// A gamma quantity of scale 1, for any shape above 0: Marsaglia and Tsang, "A simple method for generating gamma variables", ACM
/// Trans. Math. Softw. 26, 2000; below 1 by their section 6.
#[inline]
pub fn standard_gamma<R: Rng + ?Sized>(shape: f64, draws: &mut R) -> f64 {
    if shape == 1.0 {
        return Exp1.sample(draws);
    }
    if shape.is_nan() || shape <= 0.0 {
        return f64::NAN;
    }
    if shape == f64::INFINITY {
        return f64::INFINITY;
    }
    if shape > 1.0 {
        let d = shape - 1.0 / 3.0;
        return cubed(d, draws) * d;
    }
    let u: f64 = draws.sample(Open01);
    let d = shape + 1.0 - 1.0 / 3.0;
    let a = cubed(d, draws);
    a * libm::pow(u, 1.0 / shape) * d
}

/// A gamma quantity of shape `d + 1/3`, over `d`.
#[inline]
fn cubed<R: Rng + ?Sized>(d: f64, draws: &mut R) -> f64 {
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = StandardNormal.sample(draws);
        let root = 1.0 + c * x;
        if root <= 0.0 {
            continue;
        }
        let v = root * root * root;
        let u: f64 = draws.sample(Open01);
        let square = x * x;
        if u < 1.0 - 0.0331 * square * square || libm::log(u) < 0.5 * square + d * (1.0 - v + libm::log(v)) {
            return v;
        }
    }
}

/// A number inside (0, 1) from random bits, as [`Open01`] makes it.
fn open(bits: u64) -> f64 {
    f64::from_bits(0x3FF0_0000_0000_0000 | bits >> 12) - (1.0 - f64::EPSILON / 2.0)
}

/// Draws that remember the last two numbers.
struct Kept<'a, R: ?Sized> {
    draws: &'a mut R,
    last: [u64; 2],
}

impl<R: Rng + ?Sized> TryRng for Kept<'_, R> {
    type Error = Infallible;

    #[inline]
    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        Ok(self.draws.next_u32())
    }

    #[inline]
    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        self.last = [self.last[1], self.draws.next_u64()];
        Ok(self.last[1])
    }

    fn try_fill_bytes(&mut self, into: &mut [u8]) -> Result<(), Infallible> {
        self.draws.fill_bytes(into);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::stream::Streams;

    /// Number for number those of the library, but for a last bit or two in the tails; a million normals have some 258 there (3.65 sigma,
    /// by tables), a million exponentials some 454 (exp(-7.697)).
    #[test]
    fn they_are_the_librarys() {
        let source = Streams::new(5).source("draws");
        let (mut ours, mut theirs) = (source.trial(0), source.trial(0));
        let mut in_tails = [0; 2];
        for _ in 0..1_000_000 {
            let pairs = [
                (
                    StandardNormal.sample(&mut ours),
                    rand_distr::StandardNormal.sample(&mut theirs),
                    NORMAL_TAIL,
                ),
                (Exp1.sample(&mut ours), rand_distr::Exp1.sample(&mut theirs), EXPONENTIAL_TAIL),
            ];
            for (i, (a, b, tail)) in pairs.into_iter().enumerate() {
                let b: f64 = b;
                if b.abs() < tail {
                    assert_eq!(a, b);
                } else {
                    in_tails[i] += 1;
                    assert!((a - b).abs() <= 4.0 * f64::EPSILON * b.abs(), "{a} {b}");
                }
            }
        }
        assert!((180..340).contains(&in_tails[0]) && (350..560).contains(&in_tails[1]), "{in_tails:?}");
    }

    #[test]
    fn gammas_are_the_librarys() {
        for shape in [0.3, 0.7, 1.0, 1.5, 40.0] {
            let source = Streams::new(6).source("gammas");
            let (mut ours, mut theirs) = (source.trial(1), source.trial(1));
            let gamma = rand_distr::Gamma::new(shape, 1.0).unwrap();
            for _ in 0..100_000 {
                let (a, b): (f64, f64) = (standard_gamma(shape, &mut ours), gamma.sample(&mut theirs));
                assert!((a - b).abs() <= 1e-14 * b, "{shape}: {a} {b}");
            }
        }
        let mut draws = Streams::new(6).source("gammas").trial(0);
        assert!(standard_gamma(0.0, &mut draws).is_nan() && standard_gamma(f64::NAN, &mut draws).is_nan());
    }
}
