//! Type A: what readings say of a quantity.

use super::correlation::Correlation;
use super::distribution::{Distribution, ParameterError};
use super::sample::mean_and_standard_deviation;
use libm::sqrt;
use statrs::function::beta::checked_beta_reg;
use std::fmt;

/// What readings give for a quantity, in its unit; as good an input's source as a certificate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// The degrees of freedom of that.
    pub degrees_of_freedom: f64,
}

impl Estimate {
    /// The scaled and shifted t that is assigned to it (JCGM 101:2008, 6.4.9); the constant if the
    /// readings did not vary at all.
    pub fn distribution(&self) -> Result<Distribution, ParameterError> {
        Distribution::student_t(self.value, self.standard_uncertainty, self.degrees_of_freedom)
    }
}

/// A series of independent readings of one quantity (GUM 4.2).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Series {
    /// How many, at least 2.
    pub n_readings: usize,
    /// Their mean (4.2.1).
    pub mean: f64,
    /// Their experimental standard deviation s, with n − 1 (4.2.2).
    pub standard_deviation: f64,
}

impl Series {
    /// The readings of one quantity, at least two.
    pub fn of(readings: &[f64]) -> Result<Self, ReadingsError> {
        check_readings(readings)?;
        let (mean, standard_deviation) = mean_and_standard_deviation(readings);
        Ok(Self { n_readings: readings.len(), mean, standard_deviation })
    }

    /// `n_readings − 1`.
    pub fn degrees_of_freedom(&self) -> f64 {
        self.n_readings as f64 - 1.0
    }

    /// The mean, with the standard deviation of the mean `s / √n` (4.2.3).
    pub fn estimate(&self) -> Estimate {
        Estimate {
            value: self.mean,
            standard_uncertainty: self.standard_deviation / sqrt(self.n_readings as f64),
            degrees_of_freedom: self.degrees_of_freedom(),
        }
    }
}

/// A standard deviation known from earlier work under the same conditions (GUM 4.2.4).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// The pooled experimental standard deviation of one reading.
    pub standard_deviation: f64,
    /// Its degrees of freedom: the sum of the series'.
    pub degrees_of_freedom: f64,
}

impl Pooled {
    /// `s_p² = Σ ν_i s_i² / Σ ν_i` over the series; none give no standard deviation (not a number).
    pub fn of(series: &[Series]) -> Self {
        let degrees_of_freedom: f64 = series.iter().map(Series::degrees_of_freedom).sum();
        let squares = |s: &Series| s.degrees_of_freedom() * s.standard_deviation * s.standard_deviation;
        let variance = series.iter().map(squares).sum::<f64>() / degrees_of_freedom;
        Self { standard_deviation: sqrt(variance), degrees_of_freedom }
    }

    /// The mean of `readings`, one or more, with `s_p / √n` and the pooled degrees of freedom.
    pub fn estimate(&self, readings: &[f64]) -> Result<Estimate, ReadingsError> {
        check_finite(readings)?;
        if readings.is_empty() {
            return Err(ReadingsError {
                found: "no readings".into(),
                must: "be at least 1".into(),
                fix: "add a reading".into(),
            });
        }
        Ok(Estimate {
            value: mean_and_standard_deviation(readings).0,
            standard_uncertainty: self.standard_deviation / sqrt(readings.len() as f64),
            degrees_of_freedom: self.degrees_of_freedom,
        })
    }
}

/// One-way analysis of variance of J groups (days, operators, setups) of K readings each (GUM H.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// J.
    pub n_groups: usize,
    /// K.
    pub n_per_group: usize,
    /// Mean of all readings.
    pub mean: f64,
    /// s_a: the standard deviation of one reading, as the scatter of the groups' means gives it
    /// (`s_a² = K s²(means)`, H.5.2.2), with J − 1 degrees of freedom.
    pub from_means: f64,
    /// s_b: the standard deviation of one reading, as the scatter within the groups gives it
    /// (H.5.2.2), with J (K − 1) degrees of freedom.
    pub from_within: f64,
}

impl OneWay {
    /// Two or more groups of equally many readings.
    pub fn of(groups: &[Series]) -> Result<Self, ReadingsError> {
        let n_per_group = groups.first().map_or(0, |group| group.n_readings);
        if groups.len() < 2 || groups.iter().any(|group| group.n_readings != n_per_group) {
            let sizes: Vec<String> = groups.iter().map(|group| group.n_readings.to_string()).collect();
            return Err(ReadingsError {
                found: format!("{} groups of {} readings", groups.len(), sizes.join(", ")),
                must: "be at least 2 groups of equally many readings".into(),
                fix: "leave readings out so that the groups are equally long".into(),
            });
        }
        let means: Vec<f64> = groups.iter().map(|group| group.mean).collect();
        let (mean, of_means) = mean_and_standard_deviation(&means);
        Ok(Self {
            n_groups: groups.len(),
            n_per_group,
            mean,
            from_means: of_means * sqrt(n_per_group as f64),
            from_within: Pooled::of(groups).standard_deviation,
        })
    }

    /// Degrees of freedom of [`from_means`](Self::from_means) and
    /// [`from_within`](Self::from_within).
    pub fn degrees_of_freedom(&self) -> [f64; 2] {
        let [groups, per_group] = [self.n_groups as f64, self.n_per_group as f64];
        [groups - 1.0, groups * (per_group - 1.0)]
    }

    /// `F = s_a² / s_b²` (H.5.2.3).
    pub fn ratio(&self) -> f64 {
        let ratio = self.from_means / self.from_within;
        ratio * ratio
    }

    /// Probability of so large a ratio, or a larger one, if the groups do not differ. Below 0.05 it
    /// is usual to take the group effect as real (H.5.2.3).
    pub fn probability(&self) -> f64 {
        let [between, within] = self.degrees_of_freedom();
        f_exceeded(self.ratio(), between, within)
    }

    /// The mean of all readings, if the group effect is taken as real: `s_a / √(J K)` with J − 1
    /// degrees of freedom (H.5.2.4).
    pub fn estimate_with_effect(&self) -> Estimate {
        let n = (self.n_groups * self.n_per_group) as f64;
        Estimate {
            value: self.mean,
            standard_uncertainty: self.from_means / sqrt(n),
            degrees_of_freedom: self.degrees_of_freedom()[0],
        }
    }

    /// The mean of all readings, if there is no group effect: both scatters are pooled, J K − 1
    /// degrees of freedom (H.5.2.5).
    pub fn estimate_without_effect(&self) -> Estimate {
        let [between, within] = self.degrees_of_freedom();
        let n = (self.n_groups * self.n_per_group) as f64;
        let squares =
            between * self.from_means * self.from_means + within * self.from_within * self.from_within;
        Estimate {
            value: self.mean,
            standard_uncertainty: sqrt(squares / (n - 1.0) / n),
            degrees_of_freedom: n - 1.0,
        }
    }
}

/// A straight line through readings by least squares, such as a calibration curve (GUM H.3): all
/// the scatter is in y, equally at every x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLine {
    /// The x at which the line's height is taken; free to choose, it changes no prediction.
    pub reference: f64,
    /// The height at the reference, in the unit of y (`y₁` of H.3.2).
    pub height: f64,
    /// The slope, in the unit of y over that of x (`y₂`).
    pub slope: f64,
    /// Standard uncertainty of the height.
    pub height_uncertainty: f64,
    /// Standard uncertainty of the slope.
    pub slope_uncertainty: f64,
    /// Correlation coefficient of height and slope.
    pub correlation: f64,
    /// Standard deviation s of the readings about the line, with n − 2.
    pub standard_deviation: f64,
    /// n − 2.
    pub degrees_of_freedom: f64,
    mean_x: f64,
    /// The uncertainty of the line's height at the mean of x.
    mean_uncertainty: f64,
}

impl StraightLine {
    /// The line through three or more points `(x, y)` at two or more different x.
    pub fn fit(points: &[(f64, f64)], reference: f64) -> Result<Self, ReadingsError> {
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        check_finite(&x)?;
        check_finite(&y)?;
        check_finite(&[reference])?;
        let n = points.len() as f64;
        let mean_x = mean_and_standard_deviation(&x).0;
        let mean_y = mean_and_standard_deviation(&y).0;
        let sum = |term: &dyn Fn(f64, f64) -> f64| -> f64 {
            points.iter().map(|&(x, y)| term(x - mean_x, y - mean_y)).sum()
        };
        let spread = sum(&|dx, _| dx * dx);
        if points.len() < 3 || spread <= 0.0 {
            return Err(ReadingsError {
                found: format!("{} points", points.len()),
                must: "be at least 3 points at 2 or more different x".into(),
                fix: "add readings at another x".into(),
            });
        }
        let slope = sum(&|dx, dy| dx * dy) / spread;
        let squares = sum(&|dx, dy| (dy - slope * dx) * (dy - slope * dx));
        let standard_deviation = sqrt(squares / (n - 2.0));
        let slope_uncertainty = standard_deviation / sqrt(spread);
        let mean_uncertainty = standard_deviation / sqrt(n);
        let lever = reference - mean_x;
        // From the geometry alone, so that a line without scatter has a correlation, too.
        let length = sqrt(spread / n + lever * lever);
        Ok(Self {
            reference,
            height: mean_y + slope * lever,
            slope,
            height_uncertainty: slope_uncertainty * length,
            slope_uncertainty,
            correlation: lever / length,
            standard_deviation,
            degrees_of_freedom: n - 2.0,
            mean_x,
            mean_uncertainty,
        })
    }

    /// A height of the line or its slope, as an estimate (H.3.3 and H.3.4).
    pub fn estimate(&self, of: OfLine) -> Estimate {
        match of {
            OfLine::HeightAt(x) => self.predict(x),
            OfLine::Slope => Estimate {
                value: self.slope,
                standard_uncertainty: self.slope_uncertainty,
                degrees_of_freedom: self.degrees_of_freedom,
            },
        }
    }

    /// The covariance of two things that are taken from this line, in the product of their units: both rest on the same
    /// points. The height at the mean of x and the slope have none (H.3.2).
    pub fn covariance(&self, first: OfLine, second: OfLine) -> f64 {
        let weights = |of: OfLine| match of {
            OfLine::HeightAt(x) => [1.0, x - self.mean_x],
            OfLine::Slope => [0.0, 1.0],
        };
        let (first, second) = (weights(first), weights(second));
        first[0] * second[0] * self.mean_uncertainty * self.mean_uncertainty
            + first[1] * second[1] * self.slope_uncertainty * self.slope_uncertainty
    }

    /// The line's height at `x` (H.3.4). For one further reading there, its own scatter
    /// [`standard_deviation`](Self::standard_deviation) comes on top.
    pub fn predict(&self, x: f64) -> Estimate {
        let tilt = self.slope_uncertainty * (x - self.mean_x);
        Estimate {
            value: self.height + self.slope * (x - self.reference),
            standard_uncertainty: libm::hypot(self.mean_uncertainty, tilt),
            degrees_of_freedom: self.degrees_of_freedom,
        }
    }
}

/// What of a fitted line is meant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OfLine {
    /// Its height at an x.
    HeightAt(f64),
    /// Its slope.
    Slope,
}

/// Readings of several quantities taken together, time after time (GUM 5.2.3 and H.2).
#[derive(Debug, Clone, PartialEq)]
pub struct Simultaneous {
    /// The series of each quantity, in the order given.
    pub series: Vec<Series>,
    /// Correlation coefficients of the means (5.2.3, eq. 17), which are those of the readings. A
    /// quantity that did not vary is correlated with none.
    pub correlation: Correlation,
}

impl Simultaneous {
    /// One slice of readings for each quantity; reading k of all was taken at the same time.
    pub fn of(quantities: &[&[f64]]) -> Result<Self, ReadingsError> {
        let series =
            quantities.iter().map(|&readings| Series::of(readings)).collect::<Result<Vec<_>, _>>()?;
        let n_readings = series.first().map_or(0, |first| first.n_readings);
        if let Some(other) = series.iter().find(|other| other.n_readings != n_readings) {
            return Err(ReadingsError {
                found: format!("{n_readings} readings of one quantity and {} of another", other.n_readings),
                must: "be equally many, since they were taken together".into(),
                fix: "leave out the times at which one is missing".into(),
            });
        }
        let n = series.len();
        let coefficient = |i: usize, j: usize| {
            let scale = series[i].standard_deviation * series[j].standard_deviation * (n_readings - 1) as f64;
            let products = quantities[i].iter().zip(quantities[j]);
            let sum: f64 = products.map(|(a, b)| (a - series[i].mean) * (b - series[j].mean)).sum();
            if i == j {
                1.0
            } else if scale == 0.0 {
                0.0
            } else {
                (sum / scale).clamp(-1.0, 1.0)
            }
        };
        let coefficients = (0..n * n).map(|k| coefficient(k / n, k % n)).collect();
        let correlation = Correlation::from_data(n, coefficients);
        Ok(Self { series, correlation })
    }
}

/// How each reading goes with the one before it, from −1 to 1: near 0 for independent readings, well
/// above for a drift, which the standard deviation of the mean does not know of (GUM 4.2.7).
///
/// `Σ (q_k − q̄)(q_{k−1} − q̄) / Σ (q_k − q̄)²`; not a number where the readings do not vary.
pub fn autocorrelation(readings: &[f64]) -> f64 {
    let (mean, _) = mean_and_standard_deviation(readings);
    let along: f64 = readings.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
    let all: f64 = readings.iter().map(|reading| (reading - mean) * (reading - mean)).sum();
    along / all
}

/// Degrees of freedom of a standard uncertainty that is trusted to within the fraction
/// `relative_uncertainty` of itself (GUM G.4.2, eq. G.3): 8 for a quarter.
pub fn degrees_of_freedom_from(relative_uncertainty: f64) -> f64 {
    0.5 / (relative_uncertainty * relative_uncertainty)
}

/// Probability that the ratio of two variances with `first` and `second` degrees of freedom, of the
/// same expectation, exceeds `ratio`; not a number where the arguments mean nothing.
pub fn f_exceeded(ratio: f64, first: f64, second: f64) -> f64 {
    let share = if ratio == f64::INFINITY { 0.0 } else { second / (second + first * ratio) };
    checked_beta_reg(0.5 * second, 0.5 * first, share).unwrap_or(f64::NAN)
}

/// Readings that cannot be evaluated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingsError {
    /// What was given.
    pub found: String,
    /// What it must be.
    pub must: String,
    /// What to do instead.
    pub fix: String,
}

impl fmt::Display for ReadingsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, but must {}; {}", self.found, self.must, self.fix)
    }
}

impl std::error::Error for ReadingsError {}

fn check_readings(readings: &[f64]) -> Result<(), ReadingsError> {
    if readings.len() < 2 {
        let plural =
            if readings.len() == 1 { "1 reading".into() } else { format!("{} readings", readings.len()) };
        return Err(ReadingsError {
            found: plural,
            must: "be at least 2".into(),
            fix: "add a reading, or take the standard deviation from earlier work".into(),
        });
    }
    check_finite(readings)
}

fn check_finite(readings: &[f64]) -> Result<(), ReadingsError> {
    match readings.iter().position(|reading| !reading.is_finite()) {
        None => Ok(()),
        Some(place) => Err(ReadingsError {
            found: format!("reading {} is {}", place + 1, readings[place]),
            must: "be a finite number".into(),
            fix: "leave it out".into(),
        }),
    }
}
