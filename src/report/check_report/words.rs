//! What a check can tell, sentence by sentence.

use super::*;

impl<'a> CheckReport<'a> {
    /// The answer, in one sentence or two.
    pub fn answer(&self) -> String {
        let error = &self.simulation.ways[0].error;
        let [low, high] = error.interval_symmetric;
        let covered = about_percent(error.coverage_probability);
        let reach = if low >= 0.0 {
            format!(
                "between {} and {} more than the plate's true flatness",
                self.heights().bare(low),
                self.heights().text(high)
            )
        } else if high <= 0.0 {
            format!(
                "between {} and {} less than the plate's true flatness",
                self.heights().bare(-high),
                self.heights().text(-low)
            )
        } else {
            let (less, more) = (self.heights().text(-low), self.heights().text(high));
            format!("anything from {less} less to {more} more than the plate's true flatness")
        };
        let bias = match error.mean {
            mean if mean.abs() < self.resolution() => "neither too much nor too little".to_string(),
            mean if mean > 0.0 => format!("{} too much", self.heights().text(mean)),
            mean => format!("{} too little", self.heights().text(-mean)),
        };
        format!("In {covered} of such checks the spread reads {reach}; on average it reads {bias}.")
    }

    /// What may be done with a spread, in a sentence; `None` without a tolerance.
    pub fn card_sentence(&self) -> Option<String> {
        let tolerance = self.setup.tolerance.as_ref()?;
        let limits = self.limits.first()?;
        let name = format!("{} ({})", self.heights().text(tolerance.value), tolerance.name);
        let risk = about_percent(limits.risk);
        if !limits.decides {
            return Some(format!(
                "For {name} this check has nothing to decide: of plates as the setup describes them {} are bad, so it is \
                 the description that judges, not the reading. Describe a worse or a better plate to see what the check \
                 itself can prove.",
                about_percent(limits.bad_before_reading)
            ));
        }
        let accept = match limits.accept_at_or_below {
            Some(limit) => format!(
                "accept the plate up to a spread of {} ({} of good plates pass that)",
                self.heights().text(limit),
                limits.good_passed.map_or("none".into(), about_percent)
            ),
            None => "no spread, however small, proves the plate good".to_string(),
        };
        let grains = self.setup.check.cleanliness.grain_chance > 0.0;
        let anew = "wipe plate, feet and block, seat the stand anew and read again";
        let out = match (limits.out_at_or_above, limits.out_at_or_below) {
            (Some(from), Some(to)) => format!(
                "from {} to {} it is out. A larger spread proves less, as a grain under a foot makes any spread: {anew}",
                self.heights().bare(from),
                self.heights().text(to)
            ),
            (Some(limit), None) => format!("from {} on it is out", self.heights().text(limit)),
            (None, _) if grains => format!(
                "no spread, however large, proves it out, as a grain under a foot makes any spread: {anew}, and let \
                 \"howflat judge\" weigh the single readings"
            ),
            (None, _) => {
                "no spread, however large, proves it out; let \"howflat judge\" weigh the single readings"
                    .into()
            }
        };
        Some(format!("For {name} at {risk} risk: {accept}; {out}."))
    }

    /// What this survey cannot see, in a sentence; `None` where it sees every usual shape.
    pub fn blindness(&self) -> Option<String> {
        let shapes = &self.simulation.visibilities;
        let hidden: Vec<String> = shapes
            .iter()
            .filter(|shape| shape.spread < INVISIBLE)
            .map(|shape| self.form_name(shape))
            .collect();
        let weak: Vec<String> = shapes
            .iter()
            .filter(|shape| (INVISIBLE..0.5).contains(&shape.spread))
            .map(|shape| format!("{} ({} of it shows)", self.form_name(shape), about_percent(shape.spread)))
            .collect();
        let mut said = Vec::new();
        if !hidden.is_empty() {
            said.push(format!(
                "This check cannot see, however large: {}. A plate with such a form reads a spread of zero.",
                hidden.join("; ")
            ));
        }
        if !weak.is_empty() {
            said.push(format!("It sees little of: {}.", weak.join("; ")));
        }
        (!said.is_empty()).then(|| said.join(" "))
    }

    /// Use it, read these, send it out: what follows from the card.
    pub(super) fn next_steps(&self) -> Vec<String> {
        let mut steps = Vec::new();
        let limits = self.limits.first().filter(|limits| limits.decides);
        if let Some(limit) = limits.and_then(|limits| limits.accept_at_or_below) {
            let limit = self.heights().text(limit);
            steps.push(format!(
                "Use it: read the plate; if the spread is {limit} or less, the plate may be used."
            ));
        }
        steps.push(
            "Read these: \"howflat sheet\" prints the spots; \"howflat judge\" says what the readings mean, which is more than \
             their spread does; \"howflat plan\" says what would make the check better."
                .into(),
        );
        steps.push(match limits.and_then(|limits| limits.out_at_or_above) {
            Some(limit) => {
                format!(
                    "Send it out: at a spread of {} or more, or when judge says out.",
                    self.heights().text(limit)
                )
            }
            None => {
                "Send it out: when judge says out, or stays undecided after the readings it asks for.".into()
            }
        });
        steps
    }

    /// How to use the fitted rule with a pocket calculator.
    pub(super) fn rule_sentence(&self) -> String {
        let rule = &self.simulation.rule;
        let term = |factor: f64, of: &str| {
            let sign = if factor < 0.0 { "-" } else { "+" };
            format!(" {sign} {} x {of}", plain(factor.abs(), Digits::Decimals(3)))
        };
        let levelled = if rule.per_levelled == 0.0 {
            String::new()
        } else {
            let most = self.heights().text(rule.most_levelled);
            term(rule.per_levelled, &format!("the spread off the best-fit plane (at most {most})"))
        };
        let spread = format!("the spread (at most {})", self.heights().text(rule.most_spread));
        format!(
            "The fitted estimate is {}{}{levelled}, never below 0. It is fitted to simulated checks of plates as the \
             setup describes them, and is biased again on a plate of another kind.",
            self.heights().text(rule.constant),
            term(rule.per_spread, &spread),
        )
    }

    /// The smallest height that is shown as something, in µm.
    pub(super) fn resolution(&self) -> f64 {
        let Digits::Decimals(places) = self.heights().digits() else { return 0.0 };
        Measure { value: 0.5 * libm::pow(10.0, f64::from(-places)), unit: self.setup.unit }.to(MICROMETRE)
    }
}
