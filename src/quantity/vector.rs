//! Sums over lists of numbers.

/// `sums += factor · values`.
#[inline]
pub fn add_scaled(factor: f64, values: &[f64], sums: &mut [f64]) {
    for (sum, value) in sums.iter_mut().zip(values) {
        *sum += factor * value;
    }
}

/// The sum of all products of `a` and `b`, in four sums at a time.
#[inline]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let (quads_a, rest_a) = a.as_chunks::<4>();
    let (quads_b, rest_b) = b.as_chunks::<4>();
    for (x, y) in quads_a.iter().zip(quads_b) {
        for k in 0..4 {
            lanes[k] += x[k] * y[k];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(x, y)| x * y).sum();
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
}
