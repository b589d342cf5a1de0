//! Pictures of a simulated check.

use super::*;

impl<'a> CheckReport<'a> {
    /// The chance that a plate is accepted, against its true flatness; `None` without a tolerance.
    pub fn operating_picture(&self) -> Option<Svg> {
        let tolerance = self.limits.first()?.tolerance;
        let rules = self.acceptances();
        let names: Vec<String> = rules.iter().map(|rule| self.rule_name(rule)).collect();
        let points: Vec<Vec<[f64; 2]>> = rules
            .iter()
            .map(|rule| rule.curve.iter().map(|p| [self.heights().of(p.flatness), p.accepted]).collect())
            .collect();
        let curves: Vec<Curve> =
            names.iter().zip(&points).map(|(name, points)| Curve { name, points }).collect();
        let label = format!("tolerance {}", self.heights().text(tolerance));
        let picture = Curves {
            title: "How often a plate is accepted",
            x_axis: "true flatness",
            x_unit: self.heights().label(),
            y_axis: "probability of acceptance",
            y_unit: "",
            y_range: Some([0.0, 1.0]),
            curves: &curves,
            bands: &[],
            limits: &[Mark { label: &label, at: self.heights().of(tolerance) }],
        };
        Some(picture.svg())
    }

    /// Histogram of the spread's error, with the other ways outlined over it.
    pub fn histogram(&self) -> Svg {
        let in_unit = |values: &[f64]| self.heights().all(values);
        let ways: Vec<(&str, Vec<f64>)> =
            self.simulation.ways.iter().map(|way| (way_name(way.kind), in_unit(&way.errors))).collect();
        let outlines: Vec<Outline> =
            ways[1..].iter().map(|(name, values)| Outline { name, values }).collect();
        let error = &self.simulation.ways[0].error;
        let p = about_percent(error.coverage_probability);
        let labels = [format!("{p}, symmetric"), format!("{p}, shortest")];
        let interval = |label, [low, high]: [f64; 2]| Interval {
            label,
            low: self.heights().of(low),
            high: self.heights().of(high),
        };
        let mean = format!("mean {}", self.heights().text(error.mean));
        Histogram {
            title: "How far the check is from the plate's true flatness",
            axis: "what is read minus true flatness",
            unit: self.heights().label(),
            counted: "checks",
            name: ways[0].0,
            values: &ways[0].1,
            outlines: &outlines,
            intervals: &[
                interval(&labels[0], error.interval_symmetric),
                interval(&labels[1], error.interval_shortest),
            ],
            marks: &[
                Mark { label: "no error", at: 0.0 },
                Mark { label: &mean, at: self.heights().of(error.mean) },
            ],
            density: None,
            digits: self.heights().digits(),
        }
        .svg()
    }

    /// Bars of the sources' shares.
    pub fn shares_picture(&self) -> Svg {
        let share =
            |value: f64, u: f64| BarShare { value, interval: Some([value - 2.0 * u, value + 2.0 * u]) };
        let bars: Vec<Bar> = self
            .simulation
            .shares
            .iter()
            .take(12)
            .map(|s| Bar {
                label: &s.source,
                first_order: share(s.first_order, s.first_order_u),
                total: Some(share(s.total, s.total_u)),
            })
            .collect();
        let title = "What the spread's error comes from";
        Bars {
            title,
            axis: "share of the variance of the spread's error",
            unit: BarUnit::Percent,
            bars: &bars,
        }
        .svg()
    }

    /// The chance that a plate is bad, against the spread that was read; `None` without a tolerance.
    pub fn card_picture(&self) -> Option<Svg> {
        let limits = self.limits.first()?;
        // Spreads have a long tail in which nothing changes any more.
        let end = limits
            .operating
            .get(limits.operating.len().saturating_sub(2))
            .map(|point| self.heights().of(point.limit))?;
        let steps: Vec<[f64; 2]> = limits
            .bad_given_result
            .iter()
            .flat_map(|group| {
                group.result.map(|result| [self.heights().of(result).min(end), group.probability])
            })
            .collect();
        let shown = || limits.operating.iter().filter(|point| self.heights().of(point.limit) <= end);
        let refused: Vec<[f64; 2]> = shown().map(|p| [self.heights().of(p.limit), p.good_refused]).collect();
        let accepted: Vec<[f64; 2]> = shown().map(|p| [self.heights().of(p.limit), p.bad_accepted]).collect();
        let [accept, out] =
            [limits.accept_at_or_below, limits.out_at_or_above].map(|l| l.map(|l| self.heights().of(l)));
        let mut bands = Vec::new();
        if let Some(accept) = accept {
            bands.push(Band { label: "accept", from: 0.0, to: accept, tone: Tone::Within });
        }
        let (from, to) = (accept.unwrap_or(0.0), out.unwrap_or(end));
        if from < to {
            bands.push(Band { label: "undecided", from, to, tone: Tone::Undecided });
        }
        if let Some(out) = out {
            let upper =
                limits.out_at_or_below.map_or(end.max(out), |upper| self.heights().of(upper).min(end));
            bands.push(Band { label: "out", from: out, to: upper.max(out), tone: Tone::Out });
            if upper.max(out) < end {
                bands.push(Band { label: "undecided", from: upper.max(out), to: end, tone: Tone::Undecided });
            }
        }
        let title = format!("What a spread proves about {}", self.heights().text(limits.tolerance));
        let picture = Curves {
            title: &title,
            x_axis: "spread that was read, or limit of acceptance",
            x_unit: self.heights().label(),
            y_axis: "probability",
            y_unit: "",
            y_range: Some([0.0, 1.0]),
            curves: &[
                Curve { name: "a plate with this spread is bad", points: &steps },
                Curve { name: "a bad plate passes this limit", points: &accepted },
                Curve { name: "a good plate fails this limit", points: &refused },
            ],
            bands: &bands,
            limits: &[],
        };
        Some(picture.svg())
    }

    /// The lever: what a dip of one unit under the rear of the stand does to the least certain reading; `None` for a stand
    /// that cannot be drawn from the side.
    pub(super) fn lever(&self) -> Option<Part> {
        let check = &self.setup.check;
        let reading = &check.survey.readings[self.simulation.budget.reading];
        let reach = self.setup.plan.reach(reading.spot)?;
        let depth = Measure { value: 1.0, unit: self.setup.unit }.to(MICROMETRE);
        let depth_is = Measure { value: 1.0, unit: self.setup.unit };
        let svg = LeverView {
            title: &format!("The lever: a dip of {depth_is} under the rear of the stand"),
            setup: self.setup,
            stand: &check.stand,
            reach,
            depth,
            at_the_rear: true,
            to_true_scale: false,
        }
        .svg()?;
        let caption = format!(
            "The stand from the side with its arm straight ahead, at the reach of the least certain reading ({}). The \
             plate is flat but for the dip; heights are drawn enlarged.",
            self.setup.length_text(reach)
        );
        Some(Part::picture("stand", svg, caption))
    }

    /// A typical plate's form with the survey drawn on it.
    pub fn plate(&self) -> Svg {
        let typical = &self.simulation.typical;
        let plan_unit = self.setup.plan_unit;
        let survey = &self.setup.check.survey;
        let stands = stands(survey.readings.iter(), plan_unit);
        let labels = numbers(survey.spots.len());
        let targets = targets(survey.spots.iter().map(|spot| (spot.at, None)), &labels, plan_unit);
        let title = format!(
            "A typical plate of this kind (flatness {}) and the survey",
            self.heights().text(typical.flatness)
        );
        PlateMap {
            title: &title,
            heights_are: "height over the middle plane",
            height_unit: self.heights().label(),
            length_unit: plan_unit.symbol(),
            x: &nodes(&typical.grid.x, plan_unit),
            y: &nodes(&typical.grid.y, plan_unit),
            heights: &self.heights().all(&typical.heights),
            margin: along(self.setup.check.plate.margin, plan_unit),
            stands: &stands,
            targets: &targets,
        }
        .svg()
    }
}
