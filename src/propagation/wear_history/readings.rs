//! Histories that contradict themselves, and the ways to read them without a contradiction.

use super::shop::{Shop, ShopPlate};
use super::{Event, EventFit, Evidence, Known, PlateWear};

/// A finding less likely than this in view of those before it contradicts them.
const CONTRADICTORY: f64 = 1e-6;

/// One less likely than this is not averaged with them: each may be the wrong one. Where all are right, one finding in a
/// thousand is so.
pub const DOUBTFUL: f64 = 1e-3;

/// Most ways to read a history that contradicts itself.
const MOST_READINGS: usize = 8;

impl Shop<'_> {
    /// Ways in which a plate's history can be read without a contradiction: one with all of its findings where none
    /// contradicts those before it; else what is left when the finding that goes least with those before it is left out,
    /// or what it contradicts, and so on. No reading holds all of another; other sets may go together too.
    ///
    /// `None` where there are more than eight such ways, or not one.
    pub fn readings(&self, plate: usize, whole: PlateWear) -> Option<Vec<Reading>> {
        let mut open = vec![Reading { left_out: Vec::new(), wear: whole }];
        let mut sound: Vec<Reading> = Vec::new();
        let mut tried: Vec<Vec<usize>> = Vec::new();
        let ShopPlate { events, history, .. } = &self.plates[plate];
        while let Some(reading) = open.pop() {
            let Some(finding) = doubtful(events, &reading) else {
                sound.push(reading);
                continue;
            };
            for more in [vec![finding], self.contradicted_by(plate, finding, &reading.left_out)] {
                let mut left_out = [reading.left_out.as_slice(), &more].concat();
                left_out.sort_unstable();
                // What leaves out more than a reading that is sound needs no look.
                let is_needless = sound.iter().any(|other| holds_more(&other.left_out, &left_out));
                if !more.is_empty() && !is_needless && !tried.contains(&left_out) {
                    tried.push(left_out.clone());
                    let wear = self.fit_otherwise(plate, &kept(events, &left_out, history.highest));
                    open.push(Reading { wear, left_out });
                }
            }
            if open.len() + sound.len() > MOST_READINGS {
                return None;
            }
        }
        let all: Vec<Vec<usize>> = sound.iter().map(|reading| reading.left_out.clone()).collect();
        sound.retain(|reading| !all.iter().any(|other| holds_more(other, &reading.left_out)));
        sound.sort_by(|a, b| a.left_out.cmp(&b.left_out));
        (!sound.is_empty()).then_some(sound)
    }

    /// Which earlier events have to go (beside those that are left out) for one to be likely: the finding of a flatness
    /// whose going helps most, or all of them since the last resurfacing, where no single one is enough; spreads where there
    /// is nothing else.
    pub fn contradicted_by(&self, plate: usize, finding: usize, left_out: &[usize]) -> Vec<usize> {
        let ShopPlate { events, history, .. } = &self.plates[plate];
        let is_resurfacing = |k: &usize| matches!(events[*k].evidence, Evidence::Resurfaced(_));
        let since = (0..finding).rfind(is_resurfacing).unwrap_or(0);
        let earlier: Vec<usize> = (since..finding)
            .filter(|k| !left_out.contains(k) && events[*k].evidence.states_flatness())
            .collect();
        let p_without = |&other: &usize| {
            let out = [left_out, &[other]].concat();
            let wear = self.fit_otherwise(plate, &kept(events, &out, history.highest));
            p_value_of(events, &out, &wear, finding)
        };
        let best = earlier.iter().map(|k| (p_without(k), *k)).max_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((p, k)) if p >= DOUBTFUL => vec![k],
            None => (since..finding).collect(),
            _ => earlier,
        }
    }
}

/// Whether a reading that leaves out `a` holds all that one holds that leaves out `b`, and more.
fn holds_more(a: &[usize], b: &[usize]) -> bool {
    a.len() < b.len() && a.iter().all(|k| b.contains(k))
}

/// One way to read a history that contradicts itself.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The events that are left out; of a resurfacing only the flatness deviation that it is said to have left.
    pub left_out: Vec<usize>,
    /// The fit to all others.
    pub wear: PlateWear,
}

/// What is left of events: of a resurfacing that it was one, with any flatness deviation up to the `highest` (µm).
fn kept(events: &[Event], left_out: &[usize], highest: f64) -> Vec<Event> {
    let anything = Evidence::Resurfaced(Known::Rectangular { low: 0.0, high: highest });
    let kept = events.iter().enumerate().filter_map(|(k, event)| match event.evidence {
        _ if !left_out.contains(&k) => Some(*event),
        Evidence::Resurfaced(_) => Some(Event { evidence: anything, ..*event }),
        _ => None,
    });
    kept.collect()
}

/// Place of an event among those that are [`kept`].
fn place_among_kept(events: &[Event], left_out: &[usize], event: usize) -> usize {
    let is_kept = |k: &usize| !left_out.contains(k) || matches!(events[*k].evidence, Evidence::Resurfaced(_));
    (0..event).filter(is_kept).count()
}

/// The p-value of an event that is kept, 0 where the history before it is impossible.
fn p_value_of(events: &[Event], left_out: &[usize], wear: &PlateWear, event: usize) -> f64 {
    let fit = wear.events[place_among_kept(events, left_out, event)];
    fit.p_value.filter(|p| !p.is_nan()).unwrap_or(0.0)
}

impl Reading {
    /// Each of the history's events beside the fit; `None` for one that is left out.
    pub fn fits(&self, events: &[Event]) -> Vec<Option<EventFit>> {
        let fit = |k: usize| {
            let is_left_out = self.left_out.contains(&k);
            (!is_left_out).then(|| self.wear.events[place_among_kept(events, &self.left_out, k)])
        };
        (0..events.len()).map(fit).collect()
    }
}

/// The finding that goes least with those before it, where its p-value is below [`DOUBTFUL`].
fn doubtful(events: &[Event], reading: &Reading) -> Option<usize> {
    let left_out = &reading.left_out;
    let counts = |k: &usize| !left_out.contains(k) && events[*k].evidence.states_flatness();
    let findings = (0..events.len()).filter(counts).filter(|&k| {
        // The first of them has nothing to contradict but the setup.
        let is_finding = !matches!(events[k].evidence, Evidence::Resurfaced(_));
        is_finding && (0..k).any(|before| counts(&before))
    });
    findings
        .map(|k| (p_value_of(events, left_out, &reading.wear, k), k))
        .filter(|(p, _)| *p < DOUBTFUL)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

impl PlateWear {
    /// The first event that cannot be true together with those before it: a certificate, or readings, so far from what
    /// these predict that no wear leads from one to the other. Nothing can be said of such a history.
    ///
    /// A spread is never one: however large, there may have been a grain under a foot.
    pub fn contradiction(&self, events: &[Event]) -> Option<usize> {
        events
            .iter()
            .zip(&self.events)
            .skip(1)
            .position(|(event, fit)| {
                let states_flatness =
                    matches!(event.evidence, Evidence::Certificate(_) | Evidence::Judged(_));
                states_flatness && fit.p_value.is_some_and(|p| p.is_nan() || p < CONTRADICTORY)
            })
            .map(|index| index + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{History, WearPrior, fit};
    use super::*;

    /// By brute force: of all sets of findings those that go together, and to which no further one can be added. Every
    /// reading is one of them, and every finding is in a reading.
    #[test]
    fn readings_are_largest_sets_that_go_together() {
        let population: Vec<f64> = (0..400).map(|i| 1.0 + f64::from(i) / 200.0).collect();
        let history = |events: Vec<Event>| History {
            plates: vec![events],
            usage: Vec::new(),
            today: 0.0,
            law: None,
            population: &population,
            highest: 12.0,
            prior: WearPrior::default(),
        };
        for (found, expected) in [
            (vec![1.5, 1.6, 1.9], vec![vec![]]),
            (vec![1.5, 3.8, 2.0, 2.2], vec![vec![1], vec![2, 3]]),
            (vec![3.9, 2.0, 2.1, 2.2, 2.3], vec![vec![0], vec![1, 2, 3, 4]]),
        ] {
            let n = found.len();
            let event = |(k, &estimate): (usize, &f64)| Event {
                years: k as f64 - n as f64,
                evidence: Evidence::Certificate(Known::Normal { estimate, standard_uncertainty: 0.32 }),
            };
            let events: Vec<Event> = found.iter().enumerate().map(event).collect();
            let mut together: Vec<Vec<usize>> = (0..1_usize << n)
                .map(|mask| (0..n).filter(|k| mask >> k & 1 == 1).collect::<Vec<usize>>())
                .filter(|left_out| left_out.len() < n)
                .filter(|left_out| {
                    let wear = fit(&history(kept(&events, left_out, 12.0))).remove(0);
                    doubtful(&events, &Reading { left_out: left_out.clone(), wear }).is_none()
                })
                .collect();
            let all = together.clone();
            together.retain(|left_out| !all.iter().any(|other| holds_more(other, left_out)));
            let histories = [history(events)];
            let shop = Shop::new(&histories);
            let readings = shop.readings(0, shop.fit(0)).expect("few readings");
            let left_out: Vec<Vec<usize>> = readings.into_iter().map(|reading| reading.left_out).collect();
            assert!(
                left_out.iter().all(|reading| together.contains(reading)),
                "{left_out:?} of {together:?}"
            );
            assert!((0..n).all(|k| left_out.iter().any(|reading| !reading.contains(&k))), "{left_out:?}");
            assert_eq!(left_out, expected, "{found:?}");
        }
    }
}
