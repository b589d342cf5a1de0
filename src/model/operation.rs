//! The operations that formulas are made of: on one number, on a block of trials, on jets.

use crate::model::jet::Jet;

/// One operation of a formula. Unary ones ignore their second argument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Operation {
    Add,
    Subtract,
    Multiply,
    Divide,
    Power,
    /// A power with a whole exponent from 2 to [`Operation::LARGEST_WHOLE_POWER`], by multiplication.
    WholePower(u8),
    Negate,
    Sin,
    Cos,
    Tan,
    Asin,
    Acos,
    Atan,
    Atan2,
    Sinh,
    Cosh,
    Tanh,
    Exp,
    Ln,
    Log10,
    Sqrt,
    Abs,
    Min,
    Max,
}

/// The functions a formula may call, with the least and the largest number of their arguments.
pub(super) const FUNCTIONS: [(&str, Operation, usize, usize); 17] = [
    ("sin", Operation::Sin, 1, 1),
    ("cos", Operation::Cos, 1, 1),
    ("tan", Operation::Tan, 1, 1),
    ("asin", Operation::Asin, 1, 1),
    ("acos", Operation::Acos, 1, 1),
    ("atan", Operation::Atan, 1, 1),
    ("atan2", Operation::Atan2, 2, 2),
    ("sinh", Operation::Sinh, 1, 1),
    ("cosh", Operation::Cosh, 1, 1),
    ("tanh", Operation::Tanh, 1, 1),
    ("exp", Operation::Exp, 1, 1),
    ("ln", Operation::Ln, 1, 1),
    ("log10", Operation::Log10, 1, 1),
    ("sqrt", Operation::Sqrt, 1, 1),
    ("abs", Operation::Abs, 1, 1),
    ("min", Operation::Min, 2, usize::MAX),
    ("max", Operation::Max, 2, usize::MAX),
];

impl Operation {
    /// Beyond this, multiplying loses more digits than `pow` does.
    pub(super) const LARGEST_WHOLE_POWER: u8 = 16;

    /// The value, or what is wrong with the arguments.
    pub(super) fn apply(self, a: f64, b: f64) -> Result<f64, String> {
        let mut value = [0.0];
        self.apply_block(&[a], &[b], &mut value);
        match self.fault(a, b) {
            Some(fault) => Err(fault),
            None if !value[0].is_finite() => Err("the result is too large for a number".into()),
            None => Ok(value[0]),
        }
    }

    /// The values of a block of trials. All slices are of one length; unary operations ignore `b`.
    ///
    /// A fault, here or before, gives an infinite result or NaN, and so do most operations on those: whoever
    /// looks at the formula's last result sees that there was one. The others, which can make an ordinary number of
    /// one that is not, say `false` when given such an argument.
    pub(super) fn apply_block(self, a: &[f64], b: &[f64], out: &mut [f64]) -> bool {
        use Operation::*;
        match self {
            Add => binary(a, b, out, |a, b| a + b),
            Subtract => binary(a, b, out, |a, b| a - b),
            Multiply => binary(a, b, out, |a, b| a * b),
            Divide => binary(a, b, out, |a, b| a / b),
            Power => binary(a, b, out, libm::pow),
            WholePower(2) => unary(a, out, |a| a * a),
            WholePower(n) => unary(a, out, |a| whole_power(a, n)),
            Negate => unary(a, out, |a| -a),
            Sin => unary(a, out, libm::sin),
            Cos => unary(a, out, libm::cos),
            Tan => unary(a, out, libm::tan),
            Asin => unary(a, out, libm::asin),
            Acos => unary(a, out, libm::acos),
            Atan => unary(a, out, libm::atan),
            Atan2 => {
                binary(a, b, out, |y, x| if y == 0.0 && x == 0.0 { f64::NAN } else { libm::atan2(y, x) })
            }
            Sinh => unary(a, out, libm::sinh),
            Cosh => unary(a, out, libm::cosh),
            Tanh => unary(a, out, libm::tanh),
            Exp => unary(a, out, libm::exp),
            Ln => unary(a, out, libm::log),
            Log10 => unary(a, out, libm::log10),
            Sqrt => unary(a, out, f64::sqrt),
            Abs => unary(a, out, f64::abs),
            Min => binary(a, b, out, |a, b| if b < a { b } else { a }),
            Max => binary(a, b, out, |a, b| if b > a { b } else { a }),
        }
        match self {
            Divide => all_finite(b),
            Exp | Atan | Tanh => all_finite(a),
            Power | Atan2 | Min | Max => all_finite(a) && all_finite(b),
            _ => true,
        }
    }

    /// How fast the result grows where the arguments grow as these powers of something; for all but powers, whose exponent
    /// must be known: [`Formula::degree`](super::formula::Formula::degree).
    pub(super) fn degree(self, a: f64, b: f64) -> f64 {
        use Operation::*;
        match self {
            Add | Subtract | Min | Max => a.max(b),
            Multiply => a + b,
            Divide | Negate | Abs => a,
            WholePower(n) => a * f64::from(n),
            Sqrt => 0.5 * a,
            Sin | Cos | Tan | Asin | Acos | Atan | Atan2 | Tanh | Ln | Log10 => 0.0,
            Power | Sinh | Cosh | Exp if a == 0.0 && b == 0.0 => 0.0,
            Power | Sinh | Cosh | Exp => f64::INFINITY,
        }
    }

    /// What is wrong with the arguments, if they are outside the operation's domain.
    fn fault(self, a: f64, b: f64) -> Option<String> {
        use Operation::*;
        match self {
            Divide if b == 0.0 => Some("division by zero".into()),
            Ln | Log10 if a <= 0.0 => Some(format!("the logarithm of {a}, which must be greater than 0")),
            Sqrt if a < 0.0 => Some(format!("the square root of {a}, which must not be negative")),
            Asin | Acos if a.abs() > 1.0 => {
                Some(format!("the inverse sine or cosine of {a}, which must be from -1 to 1"))
            }
            Power if a < 0.0 && b != b.trunc() => {
                Some(format!("{a} to the power of {b}: of a negative number only whole powers exist"))
            }
            Power if a == 0.0 && b < 0.0 => Some(format!("0 to the negative power {b}")),
            Atan2 if a == 0.0 && b == 0.0 => Some("the direction of (0, 0), which has none".into()),
            _ => None,
        }
    }

    /// The operation on jets whose values are `a.value()` and `b.value()`, inside the domain.
    ///
    /// Coefficients come out infinite or NaN where a derivative does not exist.
    pub(super) fn apply_jet(self, value: f64, a: &Jet, b: &Jet) -> Jet {
        use Operation::*;
        let jet = match self {
            Add => a.combine(b, |a, b| a + b),
            Subtract => a.combine(b, |a, b| a - b),
            Negate => a.combine(b, |a, _| -a),
            Multiply => a.multiply(b),
            Divide => {
                let r = 1.0 / b.value();
                a.multiply(&b.compose([r, -r * r, r * r * r, -r * r * r * r]))
            }
            Power if !b.varies() => a.compose(power_series(a.value(), b.value())),
            // Only for a positive base does x^y exist on both sides of y.
            Power => {
                let ln = a.compose(Ln.series(a.value()));
                let exponent = b.multiply(&ln);
                exponent.compose(Exp.series(exponent.value()))
            }
            WholePower(n) => a.compose(power_series(a.value(), f64::from(n))),
            Atan2 => {
                // Turned back by the angle itself, the direction is near 0, where atan2 is an atan of small numbers.
                let along = a.combine(b, |y, x| x * b.value() + y * a.value());
                let across = a.combine(b, |y, x| y * b.value() - x * a.value());
                let tangent = Divide.apply_jet(0.0, &across, &along);
                tangent.compose([0.0, 1.0, 0.0, -1.0 / 3.0])
            }
            Min | Max if a.value() == b.value() && a != b => Jet::without_derivatives(value),
            Min | Max if a.value() == value => *a,
            Min | Max => *b,
            _ => a.compose(self.series(a.value())),
        };
        jet.with_value(value)
    }

    /// The Taylor coefficients `f(x), f′(x), f″(x)/2, f‴(x)/6` of a function of one argument.
    fn series(self, x: f64) -> [f64; 4] {
        use Operation::*;
        match self {
            Sin => {
                let (s, c) = libm::sincos(x);
                [s, c, -s / 2.0, -c / 6.0]
            }
            Cos => {
                let (s, c) = libm::sincos(x);
                [c, -s, -c / 2.0, s / 6.0]
            }
            Tan => {
                let t = libm::tan(x);
                let p = 1.0 + t * t;
                [t, p, t * p, p * (1.0 + 3.0 * t * t) / 3.0]
            }
            Asin => {
                let d = 1.0 / ((1.0 - x) * (1.0 + x)).sqrt();
                let d3 = d * d * d;
                [libm::asin(x), d, x * d3 / 2.0, (1.0 + 2.0 * x * x) * d3 * d * d / 6.0]
            }
            Acos => {
                let [_, first, second, third] = Asin.series(x);
                [libm::acos(x), -first, -second, -third]
            }
            Atan => {
                let d = 1.0 / (1.0 + x * x);
                [libm::atan(x), d, -x * d * d, (3.0 * x * x - 1.0) * d * d * d / 3.0]
            }
            Sinh => {
                let (s, c) = (libm::sinh(x), libm::cosh(x));
                [s, c, s / 2.0, c / 6.0]
            }
            Cosh => {
                let (s, c) = (libm::sinh(x), libm::cosh(x));
                [c, s, c / 2.0, s / 6.0]
            }
            Tanh => {
                let t = libm::tanh(x);
                let p = 1.0 - t * t;
                [t, p, -t * p, -p * (1.0 - 3.0 * t * t) / 3.0]
            }
            Exp => {
                let e = libm::exp(x);
                [e, e, e / 2.0, e / 6.0]
            }
            Ln => [libm::log(x), 1.0 / x, -0.5 / (x * x), 1.0 / (3.0 * x * x * x)],
            Log10 => Ln.series(x).map(|c| c * std::f64::consts::LOG10_E),
            Sqrt => power_series(x, 0.5),
            Abs if x == 0.0 => [0.0, f64::NAN, f64::NAN, f64::NAN],
            Abs => [x.abs(), x.signum(), 0.0, 0.0],
            Add | Subtract | Multiply | Divide | Power | WholePower(_) | Negate | Atan2 | Min | Max => {
                unreachable!("not a function of one argument")
            }
        }
    }
}

/// The Taylor coefficients of `x^p`. A factor of 0 ends the series, whatever the power of x beside it.
fn power_series(x: f64, p: f64) -> [f64; 4] {
    let mut factor = 1.0;
    [0.0, 1.0, 2.0, 3.0].map(|k| {
        if k > 0.0 {
            factor *= (p - k + 1.0) / k;
        }
        if factor == 0.0 { 0.0 } else { factor * libm::pow(x, p - k) }
    })
}

fn whole_power(x: f64, n: u8) -> f64 {
    (1..n).fold(x, |power, _| power * x)
}

fn unary(a: &[f64], out: &mut [f64], f: impl Fn(f64) -> f64) {
    for (out, &a) in out.iter_mut().zip(a) {
        *out = f(a);
    }
}

fn binary(a: &[f64], b: &[f64], out: &mut [f64], f: impl Fn(f64, f64) -> f64) {
    for ((out, &a), &b) in out.iter_mut().zip(a).zip(b) {
        *out = f(a, b);
    }
}

/// Whether no value is infinite or NaN; without a branch a value.
pub(super) fn all_finite(values: &[f64]) -> bool {
    values.iter().fold(true, |finite, value| finite & value.is_finite())
}
