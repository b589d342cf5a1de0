//! Tables and pictures of the sheet.

use super::*;

impl LessonReport<'_> {
    pub(super) fn feet_table(&self) -> Table {
        let (depth, [rear, front]) = (self.lesson.depth, [true, false].map(|rear| self.at_long_reach(rear)));
        let rows =
            [("rear", rear), ("front, both feet where there are two", front), ("all three", rear + front)];
        let caption = format!(
            "What a dip of {} does to the reading with the tip {} ahead",
            self.depth_text(),
            self.length(self.lesson.long_reach)
        );
        let table = Table::of(caption, rows)
            .text("in the dip", |(name, _)| *name)
            .number("lever w", "", Digits::Decimals(3), |(_, reading)| reading / depth)
            .height(self.heights(), "height z", |_| -depth)
            .height(self.heights(), "worked out, minus w z", |(_, reading)| *reading);
        self.dial_column(table, "the dial shows", |(_, reading)| *reading).table()
    }

    /// Where block, front and rear are in the middle of the dip.
    pub(super) fn key_places(&self) -> [f64; 3] {
        [-self.lesson.short_reach, -self.lesson.side.front, -self.lesson.side.rear]
    }

    pub(super) fn walk_picture(&self) -> Svg {
        let h = self.heights();
        let [block, front, rear] = self.key_places().map(|at| self.plan(at));
        let points = |of: &dyn Fn(&Step) -> f64| -> Vec<[f64; 2]> {
            self.lesson.walk.iter().map(|step| [self.plan(step.at), h.of(of(step))]).collect()
        };
        let (shown, feet) = (points(&Step::reading), points(&|step| step.feet));
        Curves {
            title: "The stand walks across a dip",
            x_axis: "place of the stand, from the middle of the dip",
            x_unit: self.setup.plan_unit.symbol(),
            y_axis: "reading",
            y_unit: h.label(),
            y_range: None,
            curves: &[
                Curve { name: "what the indicator shows", points: &shown },
                Curve { name: "from the feet: false", points: &feet },
            ],
            bands: &[],
            limits: &[
                Mark { label: "block in the dip", at: block },
                Mark { label: "front in the dip", at: front },
                Mark { label: "rear in the dip", at: rear },
            ],
        }
        .svg()
    }

    pub(super) fn walk_table(&self, is_shown: impl Fn(usize, f64) -> bool) -> Table {
        let h = self.heights();
        let steps = self.lesson.walk.iter().enumerate().filter(|(i, step)| is_shown(*i, step.at));
        let table = Table::of("The walk across the dip", steps.map(|(_, step)| step));
        let table = self
            .place_column(table, "place of the stand", |step| step.at)
            .height(h, "height under the block", |step| step.block)
            .height(h, "from the feet", |step| step.feet);
        self.dial_column(table, "the dial shows", |step| step.reading()).table()
    }

    pub(super) fn spacing_name(&self, factor: f64) -> String {
        let side = &self.lesson.side;
        let own = if factor == 1.0 { ", this stand" } else { "" };
        format!("front to rear {}{own}", self.length(factor * (side.front - side.rear)))
    }

    pub(super) fn lever_table(&self) -> Table {
        let reach = Table::of("False reading by reach and foot spacing", &self.lesson.lever);
        let mut table = self.place_column(reach, "reach", |row| row.reach);
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            let header = format!("rear in the dip, {}", self.spacing_name(factor));
            table = self.dial_column(table, &header, |row| row.rear[k]);
        }
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            let header = format!("front in the dip, {}", self.spacing_name(factor));
            table = self.dial_column(table, &header, |row| row.front[k]);
        }
        table.table()
    }

    /// What the tilt adds at a spot.
    pub(super) fn added(&self, name: &str) -> f64 {
        let spots = &self.lesson.tilt.spots;
        spots.iter().find(|spot| spot.name == name).map_or(f64::NAN, |spot| spot.added)
    }

    pub(super) fn tilt_table(&self) -> Table {
        let [right, left, far, middle] =
            ["front right", "back left", "back right", "middle"].map(|name| self.added(name));
        let comparisons = [
            ("middle against front right", middle - right),
            ("middle against back left", middle - left),
            ("back left against front right", left - right),
            ("back right against middle", far - middle),
            ("back right against front right", far - right),
            ("back right against back left", far - left),
            ("middle against the mean of front right and back left", middle - 0.5 * (right + left)),
            ("back right against the mean of front right and back left", far - 0.5 * (right + left)),
        ];
        let largest = comparisons.iter().map(|(_, value)| libm::fabs(*value)).fold(0.0, f64::max);
        let caption =
            format!("What a rear foot {} low adds to comparisons on a plate that is true", self.depth_text());
        let table = Table::of(caption, comparisons).text("compared", |(name, _)| *name).height(
            self.heights(),
            "the tilt adds, worked out",
            |(_, value)| *value,
        );
        self.dial_column(table, "the dial shows", |(_, value)| *value)
            .number("of the largest", "%", Digits::Decimals(0), |(_, v)| 100.0 * libm::fabs(*v) / largest)
            .table()
    }

    pub(super) fn tilt_picture(&self) -> Svg {
        let h = self.heights();
        let tilt = &self.lesson.tilt;
        let plate = &self.setup.check.plate;
        let grid = Grid::over([[0.0, plate.length], [0.0, plate.width]], 150);
        let zero = self.added("front right");
        let [base, along, back] = tilt.plane;
        let added: Vec<f64> =
            grid.points().iter().map(|[x, y]| h.of(base + along * x + back * y - zero)).collect();
        let unit = self.setup.plan_unit;
        let readings: Vec<String> =
            tilt.spots.iter().map(|spot| h.signed(self.on_dial(spot.added - zero))).collect();
        let labels: Vec<String> = tilt.spots.iter().map(|spot| self.number_on_sheet(spot.name)).collect();
        let targets: Vec<MapTarget> = tilt
            .spots
            .iter()
            .zip(readings.iter().zip(&labels))
            .map(|(spot, (reading, label))| MapTarget {
                at: in_plan(spot.at, unit),
                label,
                reading: Some(reading),
            })
            .collect();
        let stand = MapStand {
            feet: tilt.feet.map(|foot| in_plan(foot, unit)),
            origin: in_plan(tilt.at, unit),
            tips: tilt.spots.iter().map(|spot| in_plan(spot.at, unit)).collect(),
        };
        PlateMap {
            title: "What the tilt alone adds to readings on a true plate",
            heights_are: "added by the tilt",
            height_unit: h.label(),
            length_unit: unit.symbol(),
            x: &nodes(&grid.x, unit),
            y: &nodes(&grid.y, unit),
            heights: &added,
            margin: 0.0,
            stands: &[stand],
            targets: &targets,
        }
        .svg()
    }

    pub(super) fn carried_table(&self, is_shown: impl Fn(usize) -> bool) -> Table {
        let h = self.heights();
        let places = self.lesson.carried.places.iter().enumerate().filter(|(i, _)| is_shown(*i));
        let table = Table::of("The carried stand, place by place", places.map(|(_, place)| place));
        let table = self
            .place_column(table, "block, from the left edge", |place| place.at)
            .height(h, "height of the plate", |place| place.height)
            .height(h, "block over the plane of the feet", |place| place.raw);
        self.dial_column(table, "the dial shows, zeroed at the first", |place| place.reading).table()
    }

    pub(super) fn foil_table(&self) -> Table {
        let h = self.heights();
        let foil = &self.lesson.foil;
        let caption = format!(
            "What one layer under {} must show, {} ahead, and what it did",
            if foil.at_the_rear { "the rear foot" } else { "the front foot" },
            self.length(self.lesson.short_reach)
        );
        let rows = FOILS.map(|(name, thickness)| (name, thickness[0], foil.predicted(thickness)));
        let table = Table::of(caption, rows).text("layer", |(name, ..)| *name).height(
            h,
            "thickness",
            |(_, thickness, _)| *thickness,
        );
        self.dial_column(table, "the dial must show", |(.., [reading, _])| *reading)
            .height(h, "standard uncertainty", |(.., [_, u])| *u)
            .height(h, "it shows: write here", |_| None)
            .height(h, "the foil away: write here", |_| None)
            .table()
    }

    pub(super) fn remedies_table(&self) -> Table {
        let what = |remedy: &Remedy| match remedy.what {
            RemedyKind::MoveOut => "put the stand where no foot is in the dip".to_string(),
            RemedyKind::HalveReach => "halve the reach, as far as the stand allows".to_string(),
            RemedyKind::WidenFeet => "set the feet 1.5 times as far apart".to_string(),
            RemedyKind::Wipe => {
                let film = self.heights().text(self.setup.check.cleanliness.film);
                format!("wipe plate and feet each time (film of {film}; standard uncertainty)")
            }
        };
        let caption = format!(
            "What each measure saves of the error at {} reach, with the rear in the dip",
            self.length(self.lesson.long_reach)
        );
        let table = Table::of(caption, &self.lesson.remedies).text("measure", |remedy| what(remedy));
        let table = self.dial_column(table, "without", |remedy| remedy.before);
        let table = self.dial_column(table, "with", |remedy| remedy.after);
        self.dial_column(table, "saves", |r| self.on_dial(r.before) - self.on_dial(r.after)).table()
    }

    pub(super) fn dial_column<R>(
        &self,
        table: Rows<R>,
        header: &str,
        micrometres: impl Fn(&R) -> f64,
    ) -> Rows<R> {
        let h = self.heights();
        let shown = |row: &R| h.of(self.on_dial(micrometres(row)));
        table.number(header, h.label(), self.dial_digits(), shown)
    }

    /// The number of a target on the reading sheet's first placement; the first letters of its name where it is not there.
    pub(super) fn number_on_sheet(&self, name: &str) -> String {
        let targets = self.setup.plan.stations.first().map_or(&[][..], |station| &station.targets);
        match targets.iter().position(|target| target.name == name) {
            Some(index) => (index + 1).to_string(),
            None => name.split(' ').filter_map(|word| word.chars().next()).collect(),
        }
    }

    pub(super) fn place_column<R>(
        &self,
        table: Rows<R>,
        header: &str,
        millimetres: impl Fn(&R) -> f64,
    ) -> Rows<R> {
        let at = |row: &R| self.plan(millimetres(row));
        table.number(header, self.setup.plan_unit.symbol(), Digits::Decimals(2), at)
    }
}

/// What is put under a foot: its thickness and the standard uncertainty of it, in µm. Kitchen foil anything from 10 to 20 µm, shim of a
/// thousandth of an inch within 10 % (common practice, no source); both rectangular.
pub(super) const FOILS: [(&str, [f64; 2]); 2] =
    [("kitchen foil, one layer", [15.0, 2.887]), ("shim of 0.001 in (25 µm)", [25.4, 1.466])];
