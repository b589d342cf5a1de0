//! The stand from the side, on the plate's surface: how a dip under one foot becomes a reading elsewhere.

use super::super::number::{Digits, short, typeset};
use super::super::picture::{Anchor, Face, Ink, Manner, Picture, Point, Svg};
use super::super::style::{
    BAR, BAR_PALE, BOLD, EDGE, HAIR, INK, LABEL, MUTED, PAPER, SERIES, THIN, WIDTH, text_colour,
};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, LABEL_FACE, TICK_FACE, Ticks, tick_label};
use super::header::{Header, Swatch};
use super::label::{Places, area_of};
use super::{axis, shown};

/// A stand on a profile, heights drawn far larger than lengths.
///
/// The stand is rigid, so its feet fix the plane that its indicator reads from: seen from the side, the
/// line through rear foot and front feet. The reading is the surface at the tip minus that line.
pub struct StandView<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// Unit of lengths along the plate, as written.
    pub length_unit: &'a str,
    /// Unit of heights, as written.
    pub height_unit: &'a str,
    /// How many height units make a length unit: 1000 for µm and mm.
    pub heights_per_length: f64,
    /// The surface: length along the plate, height; lengths rising, at least two points.
    pub surface: &'a [[f64; 2]],
    /// Where the rear foot stands.
    pub rear_foot: f64,
    /// Where the two front feet stand, one behind the other as seen.
    pub front_feet: f64,
    /// What the rear and the front feet are called.
    pub feet_are: [&'a str; 2],
    /// Where the tip reads, beyond the front feet; all three are on the surface, in this order.
    pub tip: f64,
    /// What is written before the reading: "false reading".
    pub reading_is: &'a str,
    /// Digits of the reading.
    pub digits: Digits,
    /// The same to true scale below, if it is wanted.
    pub true_scale: Option<TrueScale>,
}

/// What a view to true scale needs besides, in units of length.
#[derive(Clone, Copy, Debug)]
pub struct TrueScale {
    /// Height of the column over the plate.
    pub column: f64,
    /// Length of the gauge block, which stands upright.
    pub block: f64,
    /// Thickness of the plate.
    pub plate: f64,
}

/// Height of the stand over the surface, and of the surface's own range, px.
const ABOVE: f64 = 190.0;
const PROFILE: f64 = 96.0;
/// Stone shown below the lowest point, px.
const STONE: f64 = 44.0;
const BLOCK: [f64; 2] = [30.0, 34.0];
/// Plate and column together, to true scale, px.
const TALLEST_TRUE: f64 = 260.0;
/// Room right of the tip for the reading, px.
const READING_ROOM: f64 = 150.0;
/// Dashes and name of the plane of the feet.
const CARRIED: &[f64] = &[7.0, 4.0];
const CARRIED_IS: &str = "plane of the feet, carried to the tip";
const DIAL: f64 = 23.0;
/// Height of the arm over the plane of the feet, px.
const ARM: f64 = 142.0;

impl StandView<'_> {
    /// What the indicator reads, in height units.
    pub fn reading(&self) -> f64 {
        self.height(self.tip) - self.plane(self.tip)
    }

    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let is_sound = self.surface.len() >= 2
            && self.surface.iter().flatten().all(|&v| shown(v))
            && self.surface.windows(2).all(|pair| pair[0][0] < pair[1][0])
            && self.stands_on_it();
        if !is_sound {
            let header = Header::new(self.title, Vec::new());
            let mut picture = Picture::new(WIDTH, header.height() + 30.0);
            header.draw(&mut picture);
            return picture.finish(self.title, "An empty view: the surface or the feet are not given.");
        }
        let x = self.x_axis();
        // The carried line is named where it is, or in the key if feet and tip leave no room.
        let plane_room = x.at(self.tip) - x.at(self.front_feet) - 24.0 - BLOCK[0] / 2.0;
        let key = (Swatch::Line(SERIES[1], CARRIED), CARRIED_IS.to_string());
        let header = Header::new(self.title, if plane_room < 130.0 { vec![key] } else { Vec::new() });
        let frame = Frame { x, y: self.y_axis(header.height() + ABOVE) };
        let y_ticks = self.y_ticks();
        let x_ticks = Ticks::across(frame.x.low, frame.x.high, frame.right() - frame.left());
        let base = frame.bottom() + STONE;
        let below = base + 74.0;
        let height = self.true_scale.map_or(below, |size| below + self.true_height(&size));
        let mut picture = Picture::new(WIDTH, height);
        header.draw(&mut picture);

        let surface: Vec<Point> = self.surface.iter().map(|p| frame.at(p[0], p[1])).collect();
        picture.layer(Manner::Plain, |ink| {
            let mut stone = surface.clone();
            stone.extend([(frame.right(), base), (frame.left(), base)]);
            ink.fill(&stone, BAR_PALE);
            ink.line(&surface, INK, BOLD);
            self.draw_scales(ink, &frame, &x_ticks, &y_ticks, base);
        });
        let carried = [self.rear_foot, self.front_feet, self.tip].map(|x| frame.at(x, self.plane(x)));
        let [rear, front, tip] = carried;
        picture.layer(Manner::Plain, |ink| self.draw_stand(ink, &frame));
        // Somewhat beyond the tip, to where the reading is marked.
        let end = tip.0 + BLOCK[0] / 2.0 + 26.0;
        let beyond = (end, front.1 + (tip.1 - front.1) * (end - front.0) / (tip.0 - front.0));
        picture.layer(Manner::Dashed(CARRIED), |ink| ink.line(&[rear, beyond], SERIES[1], BOLD));
        picture.layer(Manner::Plain, |ink| self.draw_reading(ink, &frame));
        picture.layer(Manner::Halo, |ink| self.draw_labels(ink, &frame, plane_room));
        if let Some(size) = &self.true_scale {
            picture.layer(Manner::Plain, |ink| self.draw_true(ink, size, below));
        }
        picture.finish(self.title, &self.description())
    }

    /// px for a unit of length in the view to true scale.
    fn true_px(&self, size: &TrueScale) -> f64 {
        let [low, high] = [self.surface[0][0], self.surface[self.surface.len() - 1][0]];
        ((WIDTH - 2.0 * EDGE) / (high - low)).min(TALLEST_TRUE / (size.column + size.plate))
    }

    fn true_height(&self, size: &TrueScale) -> f64 {
        self.true_px(size) * (1.08 * size.column + size.plate) + 92.0
    }

    /// Stand and plate as they are, with the lengths that make the lever.
    fn draw_true(&self, ink: &mut Ink, size: &TrueScale, top: f64) {
        let px = self.true_px(size);
        let x = |length: f64| EDGE + (length - self.surface[0][0]) * px;
        let ground = top + 34.0 + 1.08 * size.column * px;
        let up = |height: f64| ground - height * px;
        let name = "The same to true scale: dip and tilt are far thinner than a line";
        ink.text((EDGE, top + 10.0), Anchor::Start, &LABEL_FACE.bold(), name);
        let end = x(self.surface[self.surface.len() - 1][0]);
        let (base, rect) =
            (ground + size.plate * px, |l: f64, t: f64, r: f64, b: f64| [(l, t), (r, t), (r, b), (l, b)]);
        ink.fill(&rect(EDGE, ground, end, base), BAR_PALE);
        ink.line(&[(EDGE, ground), (end, ground)], INK, THIN);
        let [rear, front, tip] = [self.rear_foot, self.front_feet, self.tip].map(x);
        let foot = (0.05 * size.column * px).max(3.0);
        let mut part = |corners: &[Point], fill| {
            ink.fill(corners, fill);
            ink.outline(corners, INK, HAIR);
        };
        for at in [rear, front] {
            part(&[(at, ground), (at + foot / 2.0, ground - foot), (at - foot / 2.0, ground - foot)], BAR);
        }
        let bar = (0.06 * size.column * px).max(3.0);
        part(&rect(rear - foot, ground - foot - bar, front + foot, ground - foot), BAR);
        let column = rear + (front - rear) * 0.55;
        part(&rect(column - bar / 2.0, up(1.05 * size.column), column + bar / 2.0, ground - foot - bar), BAR);
        let arm = up(0.95 * size.column);
        part(&rect(column - bar, arm, tip + bar, arm + bar * 0.7), BAR);
        let top_of_block = up(size.block);
        part(&rect(tip - 0.18 * size.block * px, top_of_block, tip + 0.18 * size.block * px, ground), PAPER);
        ink.line(&[(tip, arm), (tip, top_of_block)], INK, THIN);
        let dial = ((top_of_block - arm) * 0.28).clamp(3.0, 16.0);
        let centre = (tip, (arm + top_of_block) / 2.0);
        ink.disc(centre, dial, PAPER);
        ink.circle(centre, dial, INK, THIN);
        // What is carried, and by how much: feet apart, and from the front to the tip.
        let y = base + 14.0;
        for (from, to, length) in
            [(rear, front, self.front_feet - self.rear_foot), (front, tip, self.tip - self.front_feet)]
        {
            ink.line(&[(from + 1.0, y), (to - 1.0, y)], MUTED, THIN);
            for end in [from + 1.0, to - 1.0] {
                ink.line(&[(end, y - 4.0), (end, y + 4.0)], MUTED, THIN);
            }
            let label = format!("{} {}", short(length, 3), self.length_unit);
            ink.text(((from + to) / 2.0, y + 13.0), Anchor::Middle, &TICK_FACE, &label);
        }
    }

    /// Whether rear foot, front feet and tip are on the surface in this order, not at one spot.
    fn stands_on_it(&self) -> bool {
        let [first, last] = [self.surface[0][0], self.surface[self.surface.len() - 1][0]];
        let places = [self.rear_foot, self.front_feet, self.tip].map(|x| (x - first) / (last - first));
        axis::ends(first, last) == [first, last]
            && places.iter().all(|place| (0.0..=1.0).contains(place))
            && places.windows(2).all(|pair| pair[1] - pair[0] > 0.02)
    }

    /// Lengths along the plate; shortened where the tip is so near the end that its reading has no room.
    fn x_axis(&self) -> Axis {
        let [low, high] = [self.surface[0][0], self.surface[self.surface.len() - 1][0]];
        let from = Frame::left_for(&self.y_ticks());
        let (to, share) = (WIDTH - EDGE - 8.0, (self.tip - low) / (high - low));
        Axis { low, high, from, to: to.min(from + (WIDTH - EDGE - READING_ROOM - from) / share) }
    }

    /// Heights: the profile, and the plane of the feet up to the tip.
    fn y_axis(&self, top: f64) -> Axis {
        let heights = self.surface.iter().map(|p| p[1]).chain([self.plane(self.tip)]);
        let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
        let [low, high] = axis::ends(low, high);
        Axis { low, high, from: top + PROFILE, to: top }
    }

    fn y_ticks(&self) -> Ticks {
        let y = self.y_axis(0.0);
        Ticks::down(y.low, y.high, PROFILE)
    }

    /// Height of the surface, straight between its points.
    fn height(&self, x: f64) -> f64 {
        let after = self.surface.partition_point(|p| p[0] < x).clamp(1, self.surface.len() - 1);
        let ([x0, z0], [x1, z1]) = (self.surface[after - 1], self.surface[after]);
        z0 + (z1 - z0) * ((x - x0) / (x1 - x0)).clamp(0.0, 1.0)
    }

    /// Height of the line through the feet.
    fn plane(&self, x: f64) -> f64 {
        let (rear, front) = (self.height(self.rear_foot), self.height(self.front_feet));
        rear + (front - rear) * (x - self.rear_foot) / (self.front_feet - self.rear_foot)
    }

    fn draw_scales(&self, ink: &mut Ink, frame: &Frame, x: &Ticks, y: &Ticks, base: f64) {
        for &value in &y.values {
            let at = frame.y.at(value);
            ink.line(&[(frame.left() - 5.0, at), (frame.left(), at)], INK, THIN);
            ink.text((frame.left() - 9.0, at), Anchor::End, &TICK_FACE, &y.label(value));
        }
        ink.line(&[(frame.left(), frame.top()), (frame.left(), base)], INK, THIN);
        let middle = (frame.top() + frame.bottom()) / 2.0;
        let title = LABEL_FACE.fit(&with_unit("height", self.height_unit), PROFILE + STONE);
        ink.text_upwards((EDGE + 5.0, middle), &LABEL_FACE, &title);
        ink.line(&[(frame.left(), base), (frame.right(), base)], INK, THIN);
        for &value in &x.values {
            let at = frame.x.at(value);
            ink.line(&[(at, base), (at, base + 5.0)], INK, THIN);
            tick_label(ink, (at, base + 15.0), &x.label(value));
        }
        let title = with_unit("length along the plate", self.length_unit);
        let title = LABEL_FACE.fit(&title, frame.right() - frame.left());
        ink.text(((frame.left() + frame.right()) / 2.0, base + 36.0), Anchor::Middle, &LABEL_FACE, &title);
        let [wide, high] = [&frame.x, &frame.y].map(|a| libm::fabs((a.to - a.from) / (a.high - a.low)));
        let times = high * self.heights_per_length / wide;
        let note =
            format!("heights drawn {} times larger than lengths", typeset(times, Digits::Significant(2)));
        ink.text((frame.right(), base + 58.0), Anchor::End, &TICK_FACE, &note);
    }

    /// The stand, whose parts keep their height over the plane of the feet: a small tilt, enlarged in
    /// height only, is a shear.
    fn draw_stand(&self, ink: &mut Ink, frame: &Frame) {
        let [rear, front, tip] = [self.rear_foot, self.front_feet, self.tip].map(|x| frame.x.at(x));
        let (y_rear, y_front) =
            (frame.y.at(self.plane(self.rear_foot)), frame.y.at(self.plane(self.front_feet)));
        let over =
            |x: f64, height: f64| (x, y_rear + (y_front - y_rear) * (x - rear) / (front - rear) - height);
        let mut part = |corners: &[Point], fill| {
            ink.fill(corners, fill);
            ink.outline(corners, INK, THIN);
        };
        let bar = |x0: f64, x1: f64, low: f64, high: f64| {
            [over(x0, low), over(x1, low), over(x1, high), over(x0, high)]
        };
        // Feet, base, column, arm.
        for foot in [rear, front] {
            part(&[over(foot, 0.0), over(foot + 8.0, 18.0), over(foot - 8.0, 18.0)], BAR);
        }
        part(&bar(rear - 14.0, front + 14.0, 18.0, 36.0), BAR);
        let column = rear + (front - rear) * 0.55;
        part(&bar(column - 6.0, column + 6.0, 36.0, ARM + 20.0), BAR);
        part(&bar(column - 13.0, tip + 8.0, ARM, ARM + 8.0), BAR);
        part(&bar(column - 10.0, column + 10.0, ARM - 5.0, ARM + 13.0), BAR);
        // The block stands on the surface, whatever the stand does.
        let ground = frame.y.at(self.height(self.tip));
        let [half, tall] = [BLOCK[0] / 2.0, BLOCK[1]];
        let block = [
            (tip - half, ground),
            (tip + half, ground),
            (tip + half, ground - tall),
            (tip - half, ground - tall),
        ];
        part(&block, PAPER);
        // Indicator: stem from the arm, dial, and a plunger that reaches the block.
        let dial = over(tip, ARM - DIAL - 8.0);
        part(&bar(tip - 4.0, tip + 4.0, ARM - 12.0, ARM), BAR);
        part(&bar(tip - 5.0, tip + 5.0, ARM - 2.0 * DIAL - 22.0, ARM - 2.0 * DIAL - 4.0), BAR);
        let ball = (tip, ground - tall - 3.5);
        ink.line(&[over(tip, ARM - 2.0 * DIAL - 22.0), ball], INK, BOLD);
        ink.disc(ball, 3.5, INK);
        ink.disc(dial, DIAL, PAPER);
        ink.circle(dial, DIAL, INK, 1.5);
        let towards = |turn: f64, r: f64| (dial.0 + r * libm::sin(turn), dial.1 - r * libm::cos(turn));
        for i in 0..12 {
            let turn = f64::from(i) * core::f64::consts::TAU / 12.0;
            ink.line(&[towards(turn, DIAL - 4.5), towards(turn, DIAL - 1.5)], MUTED, HAIR);
        }
        // The hand: a third of a turn for the largest reading that the picture has room for.
        let share = self.reading() / (frame.y.high - frame.y.low);
        ink.line(&[dial, towards(share * core::f64::consts::TAU / 3.0, DIAL - 5.0)], INK, 2.0);
        ink.disc(dial, 2.5, INK);
    }

    /// The distance between the surface and the carried line, beside the block.
    fn draw_reading(&self, ink: &mut Ink, frame: &Frame) {
        let x = frame.x.at(self.tip) + BLOCK[0] / 2.0 + 12.0;
        let (line, ground) = (frame.y.at(self.plane(self.tip)), frame.y.at(self.height(self.tip)));
        if libm::fabs(line - ground) < 2.0 {
            return;
        }
        ink.line(&[(x, line), (x, ground)], SERIES[1], BOLD);
        for (y, inwards) in [(line, (ground - line).signum()), (ground, (line - ground).signum())] {
            if libm::fabs(line - ground) > 14.0 {
                ink.fill(&[(x, y), (x - 4.0, y + 8.0 * inwards), (x + 4.0, y + 8.0 * inwards)], SERIES[1]);
            }
        }
    }

    fn draw_labels(&self, ink: &mut Ink, frame: &Frame, plane_room: f64) {
        let mut places = Places::new([frame.left(), 0.0, WIDTH, frame.bottom() + STONE]);
        let face = Face::new(LABEL, text_colour(SERIES[1])).bold();
        let reading = typeset(self.reading(), self.digits);
        let sign = if self.reading() > 0.0 { "+" } else { "" };
        let (tip, ground) = (frame.x.at(self.tip), frame.y.at(self.height(self.tip)));
        let start = tip + BLOCK[0] / 2.0 + 22.0;
        let room = WIDTH - EDGE - start;
        let mut lines = face.wrap(self.reading_is, room, 3);
        lines.push(face.fit(&format!("{sign}{reading} {}", self.height_unit), room));
        let middle = (frame.y.at(self.plane(self.tip)) + ground) / 2.0;
        for (i, line) in lines.iter().enumerate() {
            let lift = (i as f64 - (lines.len() as f64 - 1.0) / 2.0) * 16.0;
            places.take(area_of(&face, line, (start + face.width(line) / 2.0, middle + lift)));
            ink.text((start, middle + lift), Anchor::Start, &face, line);
        }

        let [rear, front] = self.feet_are;
        for (x, name) in [(self.rear_foot, rear), (self.front_feet, front), (self.tip, "gauge block")] {
            let (x, y) = (frame.x.at(x), frame.y.at(self.height(x)) + 16.0);
            let spots =
                [0.0, 15.0].into_iter().flat_map(|down| [0.0, -34.0, 34.0].map(|side| (x + side, y + down)));
            let free = spots.into_iter().find(|&spot| places.is_free(area_of(&TICK_FACE, name, spot)));
            if let Some(spot) = free {
                places.take(area_of(&TICK_FACE, name, spot));
                ink.text(spot, Anchor::Middle, &TICK_FACE, name);
            }
        }

        if plane_room < 130.0 {
            return;
        }
        let plain = Face::new(LABEL, text_colour(SERIES[1]));
        let lines = plain.wrap(CARRIED_IS, plane_room, 3);
        let widest = lines.iter().map(|line| plain.width(line)).fold(0.0, f64::max);
        let (front, at_front) = (frame.x.at(self.front_feet), frame.y.at(self.plane(self.front_feet)));
        let x = front + 18.0 + plane_room / 2.0;
        let carried =
            |px: f64| at_front + (frame.y.at(self.plane(self.tip)) - at_front) * (px - front) / (tip - front);
        let mut y = carried(x - widest / 2.0).min(carried(x + widest / 2.0)).min(ground) - 13.0;
        for line in lines.iter().rev() {
            while !places.is_free(area_of(&plain, line, (x, y))) && y > frame.top() {
                y -= 8.0;
            }
            ink.text((x, y), Anchor::Middle, &plain, line);
            y -= 16.0;
        }
    }

    fn description(&self) -> String {
        format!(
            "A stand on the plate from the side: {} at {}, {} at {}, tip at {} {}. The plane of the feet, carried to \
             the tip, is {} {} from the surface there: {}.",
            self.feet_are[0],
            short(self.rear_foot, 4),
            self.feet_are[1],
            short(self.front_feet, 4),
            short(self.tip, 4),
            self.length_unit,
            typeset(self.reading(), self.digits),
            self.height_unit,
            self.reading_is
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feet at −50 and 40 mm, tip at 250 mm: 1 µm under the rear foot is 2.333 µm at the tip.
    #[test]
    fn a_dip_under_the_rear_foot_is_levered() {
        let view = StandView {
            title: "",
            length_unit: "mm",
            height_unit: "µm",
            heights_per_length: 1000.0,
            surface: &[[-100.0, 0.0], [-60.0, 0.0], [-50.0, -1.0], [-40.0, 0.0], [300.0, 0.0]],
            rear_foot: -50.0,
            front_feet: 40.0,
            feet_are: ["rear foot", "front feet"],
            tip: 250.0,
            reading_is: "false reading",
            digits: Digits::Decimals(1),
            true_scale: None,
        };
        assert!((view.reading() + 7.0 / 3.0).abs() < 1e-12);
    }
}
