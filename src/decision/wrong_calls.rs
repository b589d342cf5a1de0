//! What taking a result at its word would do to good and bad plates.

/// How often a result that is compared with a limit, and with nothing else, is wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrongCalls {
    /// Chance that a plate which is out of tolerance passes; `None` where too few of the plates are out to tell.
    pub bad_passed: Option<f64>,
    /// Chance that a plate which is within tolerance is turned down; `None` where too few are within.
    pub good_refused: Option<f64>,
}

/// Fewest plates of a kind from which a chance is told.
const FEWEST: usize = 200;

impl WrongCalls {
    /// From true flatness and result of many trials (µm, same order). A plate is bad beyond `tolerance`, and passes with a
    /// result of at most `limit`; both in µm.
    pub fn of(flatness: &[f64], results: &[f64], tolerance: f64, limit: f64) -> Self {
        let mut counts = [[0_usize; 2]; 2];
        for (truth, result) in flatness.iter().zip(results) {
            counts[usize::from(*truth > tolerance)][usize::from(*result > limit)] += 1;
        }
        let share = |[passed, refused]: [usize; 2], wrong: usize| {
            (passed + refused >= FEWEST).then(|| wrong as f64 / (passed + refused) as f64)
        };
        Self { bad_passed: share(counts[1], counts[1][0]), good_refused: share(counts[0], counts[0][1]) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plates_are_counted_by_what_they_are() {
        // 300 good ones of which 30 read high, 200 bad ones of which 50 read low.
        let flatness: Vec<f64> = (0..500).map(|i| if i < 300 { 1.0 } else { 3.0 }).collect();
        let results: Vec<f64> =
            (0..500).map(|i| if i < 30 || (300..450).contains(&i) { 2.5 } else { 1.5 }).collect();
        let calls = WrongCalls::of(&flatness, &results, 2.0, 2.0);
        assert_eq!(calls, WrongCalls { bad_passed: Some(0.25), good_refused: Some(0.1) });
        assert_eq!(WrongCalls::of(&flatness[..400], &results[..400], 2.0, 2.0).bad_passed, None);
    }
}
