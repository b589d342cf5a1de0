//! When plates go out and what is to be said besides, sentence by sentence.

use super::*;

impl RecallReport<'_> {
    /// When to send what, in one sentence.
    pub fn answer(&self) -> String {
        let urgent: Vec<Of> = self.by_urgency().collect();
        let Some(first) = urgent.first() else { return "No plate is on record.".into() };
        if urgent.len() == 1 {
            return self.when(first) + &self.refused_sentence();
        }
        let due: Vec<String> =
            urgent.iter().filter(|of| of.plan.due == Some(0.0)).map(|of| name_of(of)).collect();
        let now = match &due[..] {
            [] => "none is due".to_string(),
            [one] => format!("{one} is due"),
            [first, ..] => format!("{} are due, {first} first", due.len()),
        };
        let next = urgent.iter().find(|of| of.plan.due.is_some_and(|years| years > 0.0));
        let next = match next.and_then(|of| Some((of, of.plan.due?))) {
            Some((of, years)) => format!("{} is next, on {}", name_of(of), self.day(years)),
            None => "no other becomes due in the years that were looked at".into(),
        };
        format!(
            "As on {}, of {} plates {now}; {next}. A plate is due when the probability that its flatness deviation exceeds {} \
             has reached {}.{}",
            self.question.today,
            urgent.len(),
            self.common_limit_text(),
            percent(self.question.risk),
            self.refused_sentence()
        )
    }

    /// That nothing is said of some plates, and where the reason stands; empty where all are answered.
    pub(super) fn refused_sentence(&self) -> String {
        let plate = |plate: &RefusedPlate| {
            let lines: Vec<String> =
                plate.faults.iter().filter_map(|fault| Some(fault.at?.line.to_string())).collect();
            format!("{} (line {})", inert(&plate.name), lines.join(", "))
        };
        let plates: Vec<String> = self.refused.iter().map(plate).collect();
        if plates.is_empty() {
            return String::new();
        }
        format!(" Nothing is said of {}: see below.", plates.join(", "))
    }

    /// When one plate goes out.
    pub(super) fn when(&self, of: &Of) -> String {
        let risk = percent(self.question.risk);
        let limit = self.limit_text(of.tolerance);
        match of.plan.due {
            Some(0.0) => format!(
                "{} is due: on {} its flatness deviation exceeds {limit} with a probability of {}, and {risk} is what \
                 is allowed.",
                if of.record.name.is_empty() { "The plate".into() } else { name_of(of) },
                self.question.today,
                probability(of.plan.out_today())
            ),
            Some(years) => format!(
                "Send {} out by {}: on that day the probability that its flatness deviation exceeds {limit} reaches \
                 {risk}.",
                name_of(of),
                self.day(years)
            ),
            None => format!(
                "No date: the probability that the flatness deviation exceeds {limit} stays below {risk} for {} years.",
                plain(of.plan.out.horizon(), Digits::Decimals(0))
            ),
        }
    }

    /// What comes after the answer: the flatness today, the wear, what is odd, what costs say.
    pub fn explanations(&self) -> Vec<String> {
        let mut said = Vec::new();
        let all: Vec<Of> = self.by_urgency().collect();
        if let [of] = all[..] {
            said.push(self.today(&of));
            said.extend(self.cost_sentences(of.plan));
        }
        said.extend(
            self.refused.iter().flat_map(|plate| &plate.faults).map(|fault| inert(&fault.to_string())),
        );
        said.extend(all.iter().filter_map(|of| self.contradiction(of)));
        said.extend(all.iter().flat_map(|of| self.oddities(of)));
        said.extend(all.iter().filter_map(|of| self.leaning(of)));
        said.extend(self.granted());
        said
    }

    /// The flatness today and the rate of wear.
    pub(super) fn today(&self, of: &Of) -> String {
        let h = self.heights();
        let Interval { mean, ends: [low, high] } = of.plan.wear.today;
        let rate = of.plan.wear.rate;
        format!(
            "On {} the flatness deviation is estimated at {}, and lies between {} and {} with a probability of 95 %; it is out \
             with a probability of {}. It grows by {} a year (95 %: {} to {}).",
            self.question.today,
            h.text(mean),
            h.bare(low),
            h.text(high),
            probability(of.plan.out_today()),
            h.text(rate.mean),
            h.bare(rate.ends[0]),
            h.text(rate.ends[1])
        )
    }

    /// Entries that contradict one another: each way to read them, and which holds.
    pub(super) fn contradiction(&self, of: &Of) -> Option<String> {
        let entry = |k: &usize| {
            let (entry, row) = (&of.record.entries[*k], &of.rows[*k]);
            format!("the {} of {} (line {})", row.kind.name(), entry.day, row.line)
        };
        let date = |due: Option<f64>| match due {
            Some(0.0) => "the plate is due now".to_string(),
            Some(years) => format!("it goes out by {}", self.day(years)),
            None => "no date is reached".into(),
        };
        let readings: Vec<String> = of
            .plan
            .readings
            .iter()
            .map(|reading| {
                let out: Vec<String> = reading.left_out.iter().map(entry).collect();
                format!("without {}, {}", out.join(" and "), date(reading.due))
            })
            .collect();
        (!readings.is_empty()).then(|| {
            format!(
                "Entries of {} contradict one another: {}. They are not averaged: the earliest date holds, and all that is said \
                 here goes with it, until it is known which is wrong. Look for a slip of the pen or of the unit, dirt, a \
                 resurfacing that is missing.",
                name_of(of),
                readings.join("; ")
            )
        })
    }

    /// Entries that were passed over, or that those before them make unlikely.
    pub(super) fn oddities(&self, of: &Of) -> Vec<String> {
        let mut n_before = 0;
        let mut said = Vec::new();
        for (entry, row, fit) in of.entries() {
            let named = format!("{} of {} (line {})", row.kind.name(), entry.day, row.line);
            match fit {
                EntryFit::PassedOver => said.push(format!(
                    "The readings of {} (line {}) do not fit the setup and were passed over: look at them with howflat judge.",
                    entry.day, row.line
                )),
                EntryFit::Counted(EventFit { p_value: Some(p), .. }) if *p < SURPRISING => {
                    let p = short(p.max(1e-4), 1);
                    said.push(if n_before == 0 {
                        format!(
                            "The {named}, the first entry, is unlikely on a plate such as the setup describes (p = {p}): look \
                             for a slip of the pen or of the unit, and whether the setup is this plate's."
                        )
                    } else {
                        format!(
                            "The {named} is unlikely in view of the entries before it (p = {p}): look for a slip of the pen, \
                             dirt, or harm done to the plate in between."
                        )
                    });
                }
                _ => {}
            }
            n_before += usize::from(fit.counted().is_some());
        }
        said
    }

    /// Where the last certificate is so vague that the estimate is not its value: why a larger U can mean a later date.
    pub(super) fn leaning(&self, of: &Of) -> Option<String> {
        let h = self.heights();
        let last = of.entries().rev().find(|(_, row, _)| row.kind == EntryKind::Certificate)?;
        let (entry, row, EntryFit::Counted(fit)) = last else { return None };
        let (says, taken) = (fit.alone.mean, fit.fitted.mean);
        let goes_with_others = fit.p_value.is_none_or(|p| p >= SURPRISING);
        (goes_with_others && (says - taken).abs() > LEANING * of.tolerance.value).then(|| {
            format!(
                "The certificate of {} (line {}) says {}, but with its uncertainty that leaves much open: together with the other \
                 entries and the plates that the setup describes the flatness deviation of that day is put at {}. The larger \
                 a U, the less its value counts, so that a larger U can make a date later as well as earlier.",
                entry.day,
                row.line,
                h.text(says),
                h.text(taken)
            )
        })
    }

    /// What was taken for granted of this history.
    pub(super) fn granted(&self) -> Vec<String> {
        let mut said = Vec::new();
        if self.history.assumed_factor {
            said.push(
                "Where the history states no coverage factor, U was taken as expanded with k = 2, as most certificates \
                 have it."
                    .into(),
            );
        }
        said.extend(self.history.repeated.iter().map(|row| {
            let plate = if row.plate.is_empty() { String::new() } else { format!(" of {}", inert(&row.plate)) };
            let [first, second] = row.lines;
            format!(
                "The {} of {}{plate} stands in lines {first} and {second} with the same numbers, and counts once.",
                row.kind.name(),
                row.day
            )
        }));
        if !self.assumed_costs.is_empty() {
            said.push(format!(
                "Of the costs that were not stated it was assumed: {}.",
                self.assumed_costs.join("; ")
            ));
        }
        let is_bare = |of: &Of| of.record.entries.iter().any(|entry| entry.found == Found::Resurfaced(None));
        if let Some(of) = self.by_urgency().find(is_bare) {
            let h = self.heights();
            let [low, high] = AS_NEW.map(|share| h.bare(share * of.tolerance.value));
            said.push(format!(
                "A resurfacing without a value was taken to leave anything from {low} to {high} {}, all that passes. It may then \
                 have left {} just within, so that little wear is enough and the date comes early: write the value and the U \
                 that whoever did it found, or a row for the certificate that followed.",
                h.label(),
                name_of(&of)
            ));
        }
        if self.has_own(|own| own.usage.is_some()) {
            said.push(
                "Wear was taken to go with use: a plate in light use wears a third as fast as usual, one in heavy use three \
                 times as fast (common practice, no source), others as their hours to 40 a week."
                    .into(),
            );
        }
        said
    }

    pub(super) fn cost_sentences(&self, plan: &PlatePlan) -> Vec<String> {
        let (Some(costs), Some(by_cost)) = (&self.question.costs, &plan.by_cost) else { return Vec::new() };
        let Some((least, risk)) = by_cost.least else {
            return vec![format!(
                "At these costs no date is the cheapest: a year out of tolerance costs {}, and a recalibration at {} costs more \
                 than it prevents (in the currency of the costs).",
                money(costs.of_year_out()),
                money(costs.of_recalibration())
            )];
        };
        let mut said = vec![match least.years {
            0.0 => format!(
                "By cost the plate should go out now: the risk is {}, and {} is what these costs are worth.",
                probability(plan.out_today()),
                probability(risk)
            ),
            years if !least.is_reached => format!(
                "By cost no date within {} years is best: the risk stays below the {} that these costs are worth.",
                plain(years, Digits::Decimals(0)),
                probability(risk)
            ),
            years => format!(
                "By cost the best date is {}, when the risk reaches the {} that these costs are worth{}.",
                self.day(years),
                probability(risk),
                match by_cost.risk_costs_more {
                    Some(more) if more >= 0.5 =>
                        format!("; the date above costs {} more, in the currency of the costs", money(more)),
                    _ => String::new(),
                }
            ),
        }];
        said.extend(self.check_sentence(by_cost));
        said
    }

    /// Which check is worth making before it goes out.
    pub(super) fn check_sentence(&self, by_cost: &CostPlan) -> Option<String> {
        let worths: Vec<String> = by_cost
            .checks
            .iter()
            .map(|check| format!("{} {}", self.check_name(check), money(check.worth)))
            .collect();
        (!worths.is_empty()).then(|| {
            format!(
                "One more check today, before its own cost, is worth, in the currency of the costs: {}. Make one that costs less \
                 than that.",
                worths.join("; ")
            )
        })
    }

    pub(super) fn check_name(&self, check: &CheckWorth) -> String {
        let with = check.standard_uncertainty.map(|u| format!(" (u = {})", self.heights().text(u)));
        let name = match check.check {
            CheckKind::Spread => "another shop check, its spread taken",
            CheckKind::Readings => "another shop check, its readings judged",
            CheckKind::Certificate => "a survey as good as the last certificate",
            CheckKind::Perfect => "knowing the flatness exactly",
        };
        format!("{name}{}", with.unwrap_or_default())
    }

    /// What is to be done, in the order in which it is.
    pub(super) fn next_steps(&self, all: &[Of]) -> Vec<String> {
        let mut said = Vec::new();
        let due: Vec<String> = all.iter().filter(|of| of.plan.due == Some(0.0)).map(name_of).collect();
        match &due[..] {
            [] => {}
            [one] => said.push(format!(
                "Send {one} out now. Until it is back, use it for nothing that needs it to be within tolerance."
            )),
            [first, ..] => said.push(format!(
                "Send the {} plates out that are due, {first} first. Until they are back, use them for nothing that needs them to \
                 be within tolerance.",
                due.len()
            )),
        }
        let dated = all.iter().find_map(|of| Some((of, of.plan.due.filter(|years| *years > 0.0)?)));
        said.extend(
            dated.map(|(of, years)| {
                format!("Have {} away by {}: book in time.", name_of(of), self.day(years))
            }),
        );
        if all.len() > 1 && self.question.costs.is_some() {
            said.push("A shop check before then pays where it costs less than the table says.".into());
        }
        said.push(
            "Enter every certificate, shop check and resurfacing, and ask again: dates move with what is found.".into(),
        );
        said
    }

    /// How it was worked out, in a sentence or two each.
    pub(super) fn method(&self) -> Vec<String> {
        let h = self.heights();
        let WearPrior { median_rate, between_shops, between_plates, unevenness } = &self.question.prior;
        let factor = |spread: f64| short(libm::exp(spread), 2);
        let steps: Vec<String> = unevenness.iter().map(|step| h.bare(*step)).collect();
        let mut said = vec![
            format!(
                "Wear is a gamma process: it never goes back between resurfacings, and comes in steps of about {} {}, each as \
                 likely as the others. How fast it goes is each plate's own and fitted to its history: {} a year before any \
                 is seen, within a factor of {} from shop to shop and of {} from plate to plate (one standard deviation; common \
                 practice, no source). Plates of one history tell of their shop together.",
                steps.join(", "),
                h.label(),
                h.text(*median_rate),
                factor(*between_shops),
                factor(*between_plates)
            ),
            "All entries are fitted at once, each with its own uncertainty: a certificate by its U and k; a spread by what \
             simulated checks of this setup show on plates of every flatness; kept readings by what they say of the flatness, \
             the setup's own expectation taken out. A plate keeps its form while it deepens, so that the same stand in the same \
             places errs alike time and again."
                .to_string(),
            format!(
                "Before its first entry a plate is taken, with a probability of {}, for one of those that the setup describes. \
                 With the other {} it is unlike them: {} times as far out on average, and often much more (Lomax's law, density \
                 2 m²/(m + z)³ at a flatness deviation z with the mean m), so that no certificate counts as impossible. These two \
                 figures are assumptions; the more entries there are, the less they matter.",
                percent(1.0 - UNFORESEEN),
                percent(UNFORESEEN),
                plain(UNFORESEEN_MEAN, Digits::Decimals(0))
            ),
            "By the names of ILAC-G24 and OIML D 10: shop checks between calibrations are in-service checking \
             (\"black-box\" testing), the course of the findings is what a control chart shows, and the date by a fitted model is \
             of the other statistical approaches."
                .to_string(),
        ];
        said.extend(self.staircase());
        if let Some((mean, deviation)) = self.plan.spread_at_tolerance {
            said.push(format!(
                "On a plate just at the tolerance this shop check reads a spread of {} on average, with a standard deviation of \
                 {}.",
                h.text(mean),
                h.text(deviation)
            ));
        }
        said
    }

    /// What the simplest method of all would say of a single plate.
    pub(super) fn staircase(&self) -> Option<String> {
        let mut all = self.by_urgency();
        let (Some(of), None) = (all.next(), all.next()) else { return None };
        let mut entries = of.rows.iter().zip(&of.plan.entries).rev();
        let found = entries.find(|(row, _)| row.kind == EntryKind::Certificate)?.1.alone()?.mean;
        let tolerance = of.tolerance.value;
        let says = if found > tolerance { "shorten" } else { "lengthen" };
        let near = found > STAIRCASE * tolerance && found <= tolerance;
        Some(format!(
            "The staircase, the simplest of their methods, looks at the last certificate only: at {} of the tolerance it says to \
             {} the interval.",
            share(found / tolerance, 0),
            if near { "keep" } else { says }
        ))
    }
}

/// A finding that the history before it makes less likely than this is pointed out.
pub(super) const SURPRISING: f64 = 0.01;

/// An estimate farther than this share of the tolerance from the last certificate's own value is explained.
pub(super) const LEANING: f64 = 0.1;

/// A plate found within this share of its tolerance is called back later, by the staircase: ILAC-G24's own
/// example, from memory.
pub(super) const STAIRCASE: f64 = 0.8;
