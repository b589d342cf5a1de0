//! The cheapest set of steps that makes a check good enough.

/// What a search for the cheapest sufficient set came to.
#[derive(Debug, Clone, PartialEq)]
pub enum Search {
    /// No set that costs less is sufficient.
    Cheapest(FoundSet),
    /// Every set that can be was tried, and none is sufficient.
    NoneSuffices,
}

/// A sufficient set.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundSet {
    /// Indices of the steps, rising.
    pub steps: Vec<usize>,
    /// What they cost together.
    pub effort: f64,
}

/// Most steps that are searched: of these every set can be listed.
pub const MOST_STEPS: usize = 16;

/// Tries sets of steps from the cheapest to the dearest until one is sufficient; that one is the cheapest. Of sets that
/// cost the same the smaller one comes first, then the one whose steps stand first.
///
/// Steps may hinder one another, so no set is passed over because a smaller or a larger one failed.
///
/// `efforts` are at least 0, at most [`MOST_STEPS`] of them; `suffices` is asked of a set (rising indices), and says `None` of one
/// that cannot be tried. Also returned: how many sets were tried.
pub fn cheapest_sufficient(
    efforts: &[f64],
    mut suffices: impl FnMut(&[usize]) -> Option<bool>,
) -> (Search, usize) {
    let n = efforts.len().min(MOST_STEPS);
    let members = |mask: u32| -> Vec<usize> { (0..n).filter(|step| mask >> step & 1 == 1).collect() };
    let cost = |mask: u32| members(mask).iter().map(|&step| efforts[step]).sum::<f64>();
    let mut masks: Vec<(f64, u32)> = (0..1_u32 << n).map(|mask| (cost(mask), mask)).collect();
    masks.sort_by(|(a, m), (b, k)| {
        a.total_cmp(b)
            .then(m.count_ones().cmp(&k.count_ones()))
            .then(m.reverse_bits().cmp(&k.reverse_bits()).reverse())
    });
    let mut n_tried = 0;
    for (effort, mask) in masks {
        let steps = members(mask);
        let Some(enough) = suffices(&steps) else { continue };
        n_tried += 1;
        if enough {
            return (Search::Cheapest(FoundSet { steps, effort }), n_tried);
        }
    }
    (Search::NoneSuffices, n_tried)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Widths that multiply, but for two steps that are worth more together and two that hinder each other.
    fn width(shares: &[f64], steps: &[usize]) -> f64 {
        let has = |step: usize| steps.contains(&step);
        let product: f64 = steps.iter().map(|&step| shares[step]).product();
        product * if has(0) && has(1) { 0.8 } else { 1.0 } * if has(2) && has(3) { 1.3 } else { 1.0 }
    }

    /// By the plainest way there is: all sets, and the least effort of those that suffice.
    fn exhaustive(efforts: &[f64], shares: &[f64], enough: f64) -> Option<f64> {
        let n = efforts.len();
        (0..1_u32 << n)
            .map(|mask| (0..n).filter(|step| mask >> step & 1 == 1).collect::<Vec<_>>())
            .filter(|steps| width(shares, steps) <= enough)
            .map(|steps| steps.iter().map(|&step| efforts[step]).sum())
            .min_by(f64::total_cmp)
    }

    proptest! {
        #[test]
        fn the_search_agrees_with_trying_everything(
            efforts in prop::collection::vec(0.0..10.0_f64, 4..9),
            seed in prop::collection::vec(0.5..1.05_f64, 9),
            enough in 0.02..1.0_f64,
        ) {
            let shares = &seed[..efforts.len()];
            let (found, n_tried) = cheapest_sufficient(&efforts, |steps| Some(width(shares, steps) <= enough));
            match (found, exhaustive(&efforts, shares, enough)) {
                (Search::Cheapest(set), Some(least)) => {
                    prop_assert!((set.effort - least).abs() < 1e-9);
                    prop_assert!(width(shares, &set.steps) <= enough);
                }
                (Search::NoneSuffices, None) => prop_assert_eq!(n_tried, 1 << efforts.len()),
                other => prop_assert!(false, "{:?}", other),
            }
        }
    }

    #[test]
    fn of_equal_efforts_the_smaller_set_comes_first() {
        let suffices = |steps: &[usize]| Some(!matches!(steps, [] | [1]));
        let (found, n_tried) = cheapest_sufficient(&[2.0, 1.0, 1.0], suffices);
        assert_eq!(found, Search::Cheapest(FoundSet { steps: vec![2], effort: 1.0 }));
        assert_eq!(n_tried, 3);
    }

    /// Of three steps the first two exclude one another: 8 sets, 2 of which hold both.
    #[test]
    fn a_set_that_cannot_be_tried_is_not_counted() {
        let suffices = |steps: &[usize]| (!steps.starts_with(&[0, 1])).then_some(false);
        assert_eq!(cheapest_sufficient(&[1.0; 3], suffices), (Search::NoneSuffices, 6));
        let all_but_one = |steps: &[usize]| suffices(steps).map(|_| steps == [1, 2]);
        let (found, n_tried) = cheapest_sufficient(&[1.0; 3], all_but_one);
        assert_eq!(found, Search::Cheapest(FoundSet { steps: vec![1, 2], effort: 2.0 }));
        // Nothing, three alone, and the pairs 0 2 and 1 2.
        assert_eq!(n_tried, 6);
    }
}
