//! A number that carries its derivatives along.

/// A value with its exact partial derivatives in two directions, a and b, up to the terms
/// that the law of propagation needs: those of `1, a, b, b², ab, ab²` in its Taylor series.
///
/// With a the direction of input i and b that of input j, one pass through a formula gives
/// `f`, `∂f/∂x_i`, `∂f/∂x_j`, `∂²f/∂x_j²`, `∂²f/∂x_i∂x_j` and `∂³f/∂x_i∂x_j²`, also if i = j. Forward
/// differentiation by truncated series: Griewank and Walther, Evaluating Derivatives, 2nd ed., chapter 13.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Jet {
    /// Coefficients of `1, a, b, b², ab, ab²`: for those with b², half the derivative.
    terms: [f64; 6],
    /// Whether it depends on a or b at all: what does not has derivatives of 0 even where a function has none.
    varies: bool,
}

impl Jet {
    /// A number that does not depend on the directions.
    pub(super) fn constant(value: f64) -> Self {
        Self { terms: [value, 0.0, 0.0, 0.0, 0.0, 0.0], varies: false }
    }

    /// An input that is itself the direction a, or b, or both.
    pub(super) fn input(value: f64, is_a: bool, is_b: bool) -> Self {
        let [a, b] = [is_a, is_b].map(|is| if is { 1.0 } else { 0.0 });
        Self { terms: [value, a, b, 0.0, 0.0, 0.0], varies: is_a || is_b }
    }

    /// A value at a kink.
    pub(super) fn without_derivatives(value: f64) -> Self {
        let nan = f64::NAN;
        Self { terms: [value, nan, nan, nan, nan, nan], varies: true }
    }

    pub(super) fn value(&self) -> f64 {
        self.terms[0]
    }

    pub(super) fn varies(&self) -> bool {
        self.varies
    }

    /// `∂f/∂a`.
    pub(super) fn first(&self) -> f64 {
        self.terms[1]
    }

    /// `∂²f/∂a∂b`.
    pub(super) fn second(&self) -> f64 {
        self.terms[4]
    }

    /// `∂³f/∂a∂b²`.
    pub(super) fn third(&self) -> f64 {
        2.0 * self.terms[5]
    }

    /// The same, with the value as the plain evaluation has it, to the last bit.
    pub(super) fn with_value(mut self, value: f64) -> Self {
        self.terms[0] = value;
        self
    }

    /// `f` term by term, for a linear `f`.
    pub(super) fn combine(&self, other: &Self, f: impl Fn(f64, f64) -> f64) -> Self {
        let terms = std::array::from_fn(|k| f(self.terms[k], other.terms[k]));
        Self { terms, varies: self.varies || other.varies }
    }

    /// The product, without the terms beyond `ab²`.
    pub(super) fn multiply(&self, other: &Self) -> Self {
        let [x, xa, xb, xbb, xab, xabb] = self.terms;
        let [y, ya, yb, ybb, yab, yabb] = other.terms;
        let terms = [
            x * y,
            x * ya + xa * y,
            x * yb + xb * y,
            x * ybb + xb * yb + xbb * y,
            x * yab + xa * yb + xb * ya + xab * y,
            x * yabb + xa * ybb + xb * yab + xbb * ya + xab * yb + xabb * y,
        ];
        Self { terms, varies: self.varies || other.varies }
    }

    /// `f(self)`, by the Taylor coefficients `f, f′, f″/2, f‴/6` at this value.
    pub(super) fn compose(&self, [f, f1, f2, f3]: [f64; 4]) -> Self {
        if !self.varies {
            return Self::constant(f);
        }
        let [_, a, b, bb, ab, abb] = self.terms;
        let terms = [
            f,
            f1 * a,
            f1 * b,
            f1 * bb + f2 * b * b,
            f1 * ab + f2 * 2.0 * a * b,
            f1 * abb + f2 * 2.0 * (a * bb + b * ab) + f3 * 3.0 * a * b * b,
        ];
        Self { terms, varies: true }
    }
}
