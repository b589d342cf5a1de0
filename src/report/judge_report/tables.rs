//! Tables and pictures of a judged plate.

use super::*;

impl JudgeReport<'_> {
    /// The rows to read next.
    pub fn next_table(&self) -> Option<Table> {
        let h = self.heights();
        let last = self.judgement.next.last()?;
        let [now, then] = [self.judgement.flatness.standard_deviation, last.expected_standard_uncertainty];
        let use_of_it = if self.judgement.hangs_on_unseen && !self.judgement.unseen.places.is_empty() {
            "first where nothing has looked yet: put the stand down as said, and add these rows to the readings"
        } else if then < 0.9 * now {
            "put the stand down as said, and add these rows to the readings"
        } else {
            "nothing that this stand can reach helps much; these rows help most"
        };
        let headings = match self.setup.plan.stand_use {
            StandUse::Turned => "",
            StandUse::Parked | StandUse::Carried => {
                " (a heading of 0° points to the right, one of 90° to the back)"
            }
        };
        let caption = format!(
            "What to read next: {use_of_it}; the standard uncertainty should shrink from {} to about {}{headings}",
            h.text(now),
            h.text(then)
        );
        let table = Table::of(caption, self.next_rows())
            .text("placement", |row| row.placement.clone())
            .text("target", |row| row.target.clone())
            .text("what to do", |row| if row.sets_zero { SET_ZERO } else { "" })
            .number("on a good plate", h.label(), h.digits(), |row| row.if_within)
            .number("standard uncertainty then", h.label(), h.digits(), |row| {
                row.expected_standard_uncertainty
            });
        Some(table.table())
    }

    /// The stand, as it is put down for each row to read next.
    pub(super) fn next_picture(&self) -> Svg {
        let unit = self.setup.plan_unit;
        let surveys = surveys_of(&self.setup.check, &self.judgement.candidates, &self.judgement.next);
        let readings: Vec<&Reading> = surveys.iter().flat_map(|survey| &survey.readings).collect();
        let labels = numbers(readings.len());
        let targets = targets(readings.iter().map(|reading| (reading.target, None)), &labels, unit);
        bare_plate(self.setup, "What to read next, row by row", &stands(readings.into_iter(), unit), &targets)
    }

    pub(super) fn flatness_table(&self) -> Table {
        let judgement = self.judgement;
        let others = judgement.otherwise.iter().map(|o| (o.kind, o.flatness, o.conformance));
        let rows = [("as in the setup", judgement.flatness, judgement.conformance)].into_iter().chain(others);
        Table::of("Flatness deviation, given these readings (95 % intervals)", rows)
            .text("taken for", |(name, ..)| *name)
            .summary(self.heights(), ["estimate", "standard uncertainty"], |(_, flatness, _)| *flatness)
            .when(self.tolerance.is_some(), |table| {
                table.percent("within tolerance", 1, |(.., c)| c.map(|c| c.probability))
            })
            .table()
    }

    /// The readings, each with what the others foresee of it.
    pub(super) fn readings_table(&self) -> Table {
        let h = self.heights();
        let role = |row: &Row, is_zero: bool| match self.readings.check.survey.readings[row.reading].closing {
            true => " closing",
            false if is_zero => " zero",
            false => "",
        };
        let caption = "The readings, and how far each is from what the others say";
        Table::of(caption, self.rows_with_fit())
            .count("line", |(row, _)| row.line)
            .text("placement", |(row, _)| self.survey_spot(row.reading).station.clone())
            .text("target", |(row, _)| self.survey_spot(row.reading).target.clone())
            .text("pass", |(row, fit)| format!("{}{}", row.pass, role(row, fit.is_none())))
            .height(h, "reading", |(row, _)| row.value)
            .height(h, "foreseen", |(row, fit)| fit.map(|fit| row.value - fit.off))
            .height(h, "off by", |(_, fit)| fit.map(|fit| fit.off))
            .number("p", "", Digits::Decimals(2), |(_, fit)| fit.map(|fit| fit.p_value))
            .text("remark", |(row, _)| row.remark.as_str())
            .table()
    }

    /// The readings as a file that can be read again, each as it was written.
    pub fn readings_csv(&self) -> Table {
        let closing = |row: &Row| self.readings.check.survey.readings[row.reading].closing;
        Table::of("", &self.readings.rows)
            .text("placement", |row| self.survey_spot(row.reading).station.clone())
            .text("target", |row| self.survey_spot(row.reading).target.clone())
            .text("pass", |row| format!("{}{}", row.pass, if closing(row) { " closing" } else { "" }))
            .column(Column::numbers("reading", self.readings.unit.symbol()), |row| {
                row.written.as_str().into()
            })
            .text("time", |row| row.time.as_str())
            .text("remark", |row| row.remark.as_str())
            .table()
    }

    /// Estimate of the surface and its standard uncertainty, side by side, with the readings on it.
    pub fn map(&self) -> Svg {
        let h = self.heights();
        let check = &self.readings.check;
        let survey = &check.survey;
        let plan_unit = self.setup.plan_unit;
        let labels = numbers(survey.spots.len());
        let mut read: Vec<(f64, f64)> = vec![(0.0, 0.0); survey.spots.len()];
        for row in self.readings.rows.iter().filter(|row| !survey.readings[row.reading].closing) {
            let (sum, n) = &mut read[survey.readings[row.reading].spot];
            *sum += row.value;
            *n += 1.0;
        }
        let texts: Vec<Option<String>> =
            read.iter().map(|(sum, n)| (*n > 0.0).then(|| h.signed(sum / n))).collect();
        // Readings from several placements count from several zeros and would only confuse here.
        let one_placement = self.setup.plan.stations.len() == 1;
        let places = survey.spots.iter().zip(&texts);
        let places = places.map(|(spot, text)| (spot.at, text.as_deref().filter(|_| one_placement)));
        let map = &self.judgement.posterior.map;
        MapPair {
            title: "What these readings say of the plate",
            height_unit: h.label(),
            length_unit: plan_unit.symbol(),
            sides: in_plan([check.plate.length, check.plate.width], plan_unit),
            x: &nodes(&map.grid.x, plan_unit),
            y: &nodes(&map.grid.y, plan_unit),
            heights: &h.all(&map.height),
            uncertainties: &h.all(&map.standard_uncertainty),
            margin: along(check.plate.margin, plan_unit),
            stands: &stands(survey.readings.iter(), plan_unit),
            targets: &targets(places, &labels, plan_unit),
            hatched: self.unseen().hatched().as_ref(),
        }
        .svg()
    }

    /// What the flatness deviation may be, with the tolerance marked.
    pub fn histogram(&self) -> Svg {
        let h = self.heights();
        let s = &self.judgement.flatness;
        let values = h.all(&self.judgement.posterior.flatness);
        let interval = |label, [low, high]: [f64; 2]| Interval { label, low: h.of(low), high: h.of(high) };
        let estimate = format!("estimate {}", h.text(s.mean));
        let tolerance = self.tolerance.map(|tolerance| format!("tolerance {}", h.text(tolerance.value)));
        let spread = self.readings.spread();
        let spread_is = format!("spread {}", h.text(spread));
        let mut marks = vec![Mark { label: &estimate, at: h.of(s.mean) }];
        // What is far away would leave no room for the rest.
        let far = s.interval_symmetric[1] + 4.0 * (s.interval_symmetric[1] - s.interval_symmetric[0]);
        if let (Some(tolerance), Some(label)) = (self.tolerance.filter(|t| t.value < far), &tolerance) {
            marks.push(Mark { label, at: h.of(tolerance.value) });
        }
        if spread < far {
            marks.push(Mark { label: &spread_is, at: h.of(spread) });
        }
        Histogram {
            title: "The plate's flatness deviation, given these readings",
            axis: "flatness deviation",
            unit: h.label(),
            counted: "possible plates",
            name: "flatness deviation",
            values: &values,
            outlines: &[],
            intervals: &[
                interval("95 %, symmetric", s.interval_symmetric),
                interval("95 %, shortest", s.interval_shortest),
            ],
            marks: &marks,
            density: None,
            digits: h.digits(),
        }
        .svg()
    }
}
