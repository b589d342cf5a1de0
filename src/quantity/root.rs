//! The root of a falling function, for quantiles that have no closed form.

/// The root of `f`, which falls from above 0 at `low` to below 0 at `high` and gives its value and the
/// magnitude of its slope: Newton's method from `start`, halving where a step would leave the bracket.
///
/// Good to the last digits of `f`; gives up after 200 steps, twice what halving alone would need.
pub(super) fn falling_root(f: impl Fn(f64) -> (f64, f64), mut low: f64, mut high: f64, start: f64) -> f64 {
    let mut x = start;
    for _ in 0..200 {
        let (value, slope) = f(x);
        if value > 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x + value / slope;
        let next = if (low..=high).contains(&newton) { newton } else { 0.5 * (low + high) };
        if (next - x).abs() <= f64::EPSILON * x.abs() {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_root_from_either_end_and_where_newton_leaves_the_bracket() {
        // x = ln 3: from 0 the first step is short, from 40 it would go far below 0.
        let f = |x: f64| (libm::exp(-x) - 1.0 / 3.0, libm::exp(-x));
        for start in [0.0, 1.0, 40.0] {
            let root = falling_root(f, 0.0, 40.0, start);
            assert!((root - libm::log(3.0)).abs() < 4e-16, "{root} from {start}");
        }
    }
}
