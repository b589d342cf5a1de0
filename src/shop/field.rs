//! Random wavy fields as sums of cosines, so that one draw costs a hundred multiplications.

use super::wear::Waves;
use std::f64::consts::{PI, TAU};

/// A basis for Gaussian random fields of squared-exponential correlation `exp(-r²/2ℓ²)` over a
/// plate, with a correlation length that may differ from draw to draw.
///
/// The field is `Σ c_m cos(p_m (x + pad)) cos(q_m (y + pad))` with independent normal `c_m` whose
/// variances follow the spectral density of the correlation (Solin and Särkkä, "Hilbert space
/// methods for reduced-rank Gaussian process regression", Statistics and Computing 30, 2020,
/// 419-446; here with cosines). `pad` keeps the cosines' mirror images off the plate.
#[derive(Debug, Clone)]
pub struct FieldBasis {
    pad: f64,
    extent: [f64; 2],
    /// Wave numbers along x and y that occur, in 1/mm.
    wave_numbers: [Vec<f64>; 2],
    /// `[x index, y index]` of each mode, sorted by y index.
    modes: Vec<[usize; 2]>,
    /// Shortest and longest correlation length provided for, in mm.
    lengths: [f64; 2],
}

/// Modes whose amplitude stays below this share of the largest for every length are left out. Of
/// the variance exp(-½k²ℓ²) is lost beyond wave number k: 0.25 % for the shortest length.
const SMALLEST_AMPLITUDE: f64 = 0.05;

/// How many correlation lengths the mirrors stand beyond the plate's edges. The nearest image of a
/// point on the edge is twice as far: its correlation is exp(-4.5) = 1 %.
const PAD_LENGTHS: f64 = 1.5;

impl FieldBasis {
    /// A basis for fields over a plate of `size` (length, width in mm) that `waves` may give.
    ///
    /// Correlation lengths beyond the 0.1 % and 99.9 % quantiles are drawn as those quantiles.
    pub fn new(size: [f64; 2], waves: &Waves) -> Self {
        let length = &waves.correlation_length;
        let lengths = [length.quantile(0.001), length.quantile(0.999)];
        let pad = PAD_LENGTHS * lengths[1];
        let extent = size.map(|side| side + 2.0 * pad);
        // Amplitude falls as exp(-ℓ²k²/4) (the root of the spectral density).
        let highest = (-4.0 * libm::log(SMALLEST_AMPLITUDE)).sqrt() / lengths[0];
        let wave_numbers = extent.map(|d| {
            let count = (highest * d / PI).floor() as usize;
            (0..=count).map(|i| PI * i as f64 / d).collect::<Vec<_>>()
        });
        let mut modes = Vec::new();
        for (j, q) in wave_numbers[1].iter().enumerate() {
            for (i, p) in wave_numbers[0].iter().enumerate() {
                if libm::hypot(*p, *q) <= highest {
                    modes.push([i, j]);
                }
            }
        }
        Self { pad, extent, wave_numbers, modes, lengths }
    }

    /// How many cosines there are.
    pub fn n_modes(&self) -> usize {
        self.modes.len()
    }

    /// How many wave numbers there are along x and along y.
    pub fn n_wave_numbers(&self) -> [usize; 2] {
        [self.wave_numbers[0].len(), self.wave_numbers[1].len()]
    }

    /// `[x index, y index]` of each mode's wave numbers, sorted by the second.
    pub fn modes(&self) -> &[[usize; 2]] {
        &self.modes
    }

    /// The standard deviations of the coefficients along one axis (0 for x, 1 for y) for a field
    /// of unit variance and the given correlation length (mm); a mode's is the product of two.
    pub fn axis_amplitudes(&self, axis: usize, length: f64, amplitudes: &mut [f64]) {
        let length = length.clamp(self.lengths[0], self.lengths[1]);
        let extent = self.extent[axis];
        // Root of 2 S(k) / D, with the one-dimensional density S(k) = √(2π) ℓ exp(-ℓ²k²/2).
        let scale = (2.0 * TAU.sqrt() * length / extent).sqrt();
        // Wave numbers are multiples of π/D, so the Gaussian follows from two running products.
        let step = libm::exp(-(length * PI / extent).powi(2) / 4.0);
        let (mut value, mut ratio) = (scale, step);
        for amplitude in amplitudes.iter_mut() {
            *amplitude = value;
            value *= ratio;
            ratio *= step * step;
        }
        // The constant is not doubled by a mirror image of itself.
        amplitudes[0] *= std::f64::consts::FRAC_1_SQRT_2;
    }

    /// The cosines along one axis at a coordinate (mm), averaged over a footprint of the given
    /// variance (mm²), see [`super::form::Form::height`].
    pub fn axis_values(&self, axis: usize, coordinate: f64, variance: f64) -> Vec<f64> {
        self.wave_numbers[axis]
            .iter()
            .map(|k| libm::cos(k * (coordinate + self.pad)) * libm::exp(-variance * k * k / 2.0))
            .collect()
    }

    /// The value of every mode at a point (mm), averaged over a footprint of the given variance
    /// along each axis (mm²).
    pub fn values(&self, at: [f64; 2], variance: f64) -> Vec<f64> {
        let x = self.axis_values(0, at[0], variance);
        let y = self.axis_values(1, at[1], variance);
        self.modes.iter().map(|&[i, j]| x[i] * y[j]).collect()
    }
}
