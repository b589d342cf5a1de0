//! Curves over one axis: a probability against a limit, an operating curve.

use super::super::picture::{Anchor, Face, Manner, Picture, Point, Svg};
use super::super::style::{
    BOLD, Colour, DASHES, EDGE, LABEL, OUT, SERIES, UNDECIDED, WIDTH, WITHIN, paler, text_colour,
};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, LABEL_FACE, Ticks};
use super::header::{Header, Swatch};
use super::label::{MarkRows, Places, area_of};
use super::{Mark, axis, shown};

/// A chart of up to four curves, each with its name written beside it.
#[derive(Default)]
pub struct Curves<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// What runs along the horizontal axis, and its unit as written.
    pub x_axis: &'a str,
    /// See `x_axis`.
    pub x_unit: &'a str,
    /// What runs along the vertical axis, and its unit as written.
    pub y_axis: &'a str,
    /// See `y_axis`.
    pub y_unit: &'a str,
    /// Ends of the vertical axis; without them it holds all curves.
    pub y_range: Option<[f64; 2]>,
    /// The curves.
    pub curves: &'a [Curve<'a>],
    /// Shaded ranges of x, left to right.
    pub bands: &'a [Band<'a>],
    /// Values of x that are marked by a line, such as a tolerance.
    pub limits: &'a [Mark<'a>],
}

/// One curve.
pub struct Curve<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its points, x rising; where one is not finite the curve has a gap.
    pub points: &'a [[f64; 2]],
}

/// A shaded range of x.
pub struct Band<'a> {
    /// What holds in it.
    pub label: &'a str,
    /// Left end.
    pub from: f64,
    /// Right end.
    pub to: f64,
    /// Its shade.
    pub tone: Tone,
}

/// What a shade means.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Tone {
    /// Within the limit, or accepted.
    Within,
    /// Undecided.
    Undecided,
    /// Out of the limit, or rejected.
    Out,
}

impl Tone {
    /// Its name, as style sheets use it.
    pub fn name(self) -> &'static str {
        match self {
            Tone::Within => "within",
            Tone::Undecided => "undecided",
            Tone::Out => "out",
        }
    }

    fn colour(self) -> Colour {
        match self {
            Tone::Within => WITHIN,
            Tone::Undecided => UNDECIDED,
            Tone::Out => OUT,
        }
    }
}

const PLOT_HEIGHT: f64 = 280.0;
const BAND_ROW: f64 = 22.0;

impl Curves<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let curves = &self.curves[..self.curves.len().min(SERIES.len())];
        let [[x_low, x_high], [y_low, y_high]] = self.ranges(curves);
        let y_ticks = Ticks::down(y_low, y_high, PLOT_HEIGHT);
        let mut x =
            Axis { low: x_low, high: x_high, from: Frame::left_for(&y_ticks), to: WIDTH - EDGE - 8.0 };
        if self.y_axis.is_empty() {
            x.from -= 20.0;
        }
        let bands = self.visible_bands(&x);
        // Bands are named above the chart if all the names fit between the marked limits, else in the key.
        let names: Option<Vec<f64>> = bands.iter().map(|band| self.name_place(band, &x)).collect();
        let keys = match names {
            Some(_) => Vec::new(),
            None => {
                bands.iter().map(|(b, ..)| (Swatch::Fill(b.tone.colour()), b.label.to_string())).collect()
            }
        };
        let header = Header::new(self.title, keys);
        let limits = MarkRows::new(self.limits, &x);
        let strip = if bands.is_empty() { 0.0 } else { BAND_ROW };
        let top = header.height() + 14.0 + limits.height + strip;
        let frame = Frame { x, y: Axis { low: y_low, high: y_high, from: top + PLOT_HEIGHT, to: top } };
        let mut picture = Picture::new(WIDTH, frame.bottom() + 54.0);
        header.draw(&mut picture);

        let lines: Vec<Vec<Vec<Point>>> = curves.iter().map(|curve| clipped(curve.points, &frame)).collect();
        picture.layer(Manner::Plain, |ink| {
            for (band, left, right) in &bands {
                ink.rect([*left, top - strip, *right, top], band.tone.colour());
                ink.rect([*left, top, *right, frame.bottom()], paler(band.tone.colour()));
            }
            frame.grid(ink, &y_ticks);
            for ((band, ..), at) in bands.iter().zip(names.iter().flatten()) {
                ink.text((*at, top - strip / 2.0), Anchor::Middle, &LABEL_FACE, band.label);
            }
        });
        for (i, parts) in lines.iter().enumerate() {
            picture.layer(Manner::Dashed(DASHES[i]), |ink| {
                for part in parts {
                    ink.line(part, SERIES[i], BOLD);
                }
            });
        }
        limits.draw(&mut picture, header.height() + 8.0, frame.bottom());
        picture.layer(Manner::Plain, |ink| {
            let x_ticks = Ticks::across(frame.x.low, frame.x.high, frame.right() - frame.left());
            let (x_title, y_title) =
                (with_unit(self.x_axis, self.x_unit), with_unit(self.y_axis, self.y_unit));
            frame.axes(ink, &x_ticks, &y_ticks, &x_title, &y_title);
        });
        self.name_curves(&mut picture, curves, &lines, &frame);
        picture.finish(self.title, &self.description(curves))
    }

    /// Ends of both axes, none of them empty.
    fn ranges(&self, curves: &[Curve]) -> [[f64; 2]; 2] {
        let mut ends = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
        for point in curves.iter().flat_map(|curve| curve.points).filter(|p| is_shown(p)) {
            for k in 0..2 {
                ends[k] = [ends[k][0].min(point[k]), ends[k][1].max(point[k])];
            }
        }
        let [x, y] = ends.map(|[low, high]| if low <= high { axis::ends(low, high) } else { [0.0, 1.0] });
        let y = match self.y_range {
            Some(range) if is_shown(&range) && range[1] > range[0] => axis::ends(range[0], range[1]),
            _ => {
                let step = Ticks::new(y[0], y[1], 6).step;
                [(y[0] / step).floor() * step, (y[1] / step).ceil() * step]
            }
        };
        [x, y]
    }

    fn visible_bands(&self, x: &Axis) -> Vec<(&Band<'_>, f64, f64)> {
        let ends = |band: &Band| (x.at(band.from.clamp(x.low, x.high)), x.at(band.to.clamp(x.low, x.high)));
        self.bands
            .iter()
            .filter(|band| is_shown(&[band.from, band.to]) && band.from < band.to)
            .map(|band| (band, ends(band).0, ends(band).1))
            .filter(|(_, left, right)| right > left)
            .collect()
    }

    /// The middle of the widest part of a band between limits, if the band's name fits into it.
    fn name_place(&self, &(band, left, right): &(&Band, f64, f64), x: &Axis) -> Option<f64> {
        let mut ends = vec![left, right];
        ends.extend(self.limits.iter().map(|limit| x.at(limit.at)).filter(|at| left < *at && *at < right));
        ends.sort_by(f64::total_cmp);
        let widest = ends.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))?;
        let fits = LABEL_FACE.width(band.label) + 10.0 <= widest[1] - widest[0];
        fits.then_some((widest[0] + widest[1]) / 2.0)
    }

    /// Writes each curve's name beside it, where it is farthest from all others.
    fn name_curves(&self, picture: &mut Picture, curves: &[Curve], lines: &[Vec<Vec<Point>>], frame: &Frame) {
        let within = [frame.left() + 2.0, frame.top(), frame.right(), frame.bottom() - 2.0];
        let mut places = Places::new(within);
        for limit in self.limits.iter().filter(|limit| shown(limit.at)) {
            let x = frame.x.at(limit.at);
            places.take([x - 2.0, frame.top(), x + 2.0, frame.bottom()]);
        }
        for part in lines.iter().flatten() {
            places.take_line(part, 4.0);
        }
        for (i, curve) in curves.iter().enumerate() {
            let face = Face::new(LABEL, text_colour(SERIES[i])).bold();
            let name = face.fit(curve.name, 300.0);
            // Beside another curve a name would be read as that curve's.
            let mut others =
                Places::new([f64::NEG_INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::INFINITY]);
            for (_, parts) in lines.iter().enumerate().filter(|(k, _)| *k != i) {
                for part in parts {
                    others.take_line(part, 4.0);
                }
            }
            let beside = face.width(&name) / 2.0 + 10.0;
            let mut best: Option<(f64, Point)> = None;
            for &(x, y) in lines[i].iter().flat_map(|part| thinned(part)) {
                for spot in [(x + beside, y), (x - beside, y), (x, y - 13.0), (x, y + 13.0)] {
                    let area = area_of(&face, &name, spot);
                    let wide = [area[0] - 14.0, area[1] - 14.0, area[2] + 14.0, area[3] + 14.0];
                    // In the middle of the picture rather than at its ends, all else equal.
                    let off = libm::fabs(x - (frame.left() + frame.right()) / 2.0) * 0.01;
                    let cost = 10.0 * places.taken_of(area) + others.taken_of(wide) + off;
                    if cost.is_finite() && best.is_none_or(|(least, _)| cost < least) {
                        best = Some((cost, spot));
                    }
                }
            }
            if let Some((_, spot)) = best {
                places.take(area_of(&face, &name, spot));
                picture.layer(Manner::Halo, |ink| ink.text(spot, Anchor::Middle, &face, &name));
            }
        }
    }

    fn description(&self, curves: &[Curve]) -> String {
        let mut text = format!(
            "Curves of {} against {}.",
            with_unit(self.y_axis, self.y_unit),
            with_unit(self.x_axis, self.x_unit)
        );
        for curve in curves {
            text += &format!(" {}.", curve.name);
        }
        for limit in self.limits {
            text += &format!(" Marked: {}.", limit.label);
        }
        for band in self.bands {
            let [from, to] = [band.from, band.to].map(|end| super::super::number::short(end, 4));
            text += &format!(" {}: {from} to {to} {}.", band.label, self.x_unit);
        }
        text
    }
}

fn is_shown(point: &[f64; 2]) -> bool {
    point.iter().all(|&value| shown(value))
}

/// A curve's parts within the frame, in the picture.
fn clipped(points: &[[f64; 2]], frame: &Frame) -> Vec<Vec<Point>> {
    let mut parts: Vec<Vec<Point>> = Vec::new();
    let mut last: Option<[f64; 2]> = None;
    for pair in points.windows(2) {
        let part = if pair.iter().all(is_shown) { clip(pair[0], pair[1], frame) } else { None };
        let Some([a, b]) = part else {
            last = None;
            continue;
        };
        if last != Some(a) {
            parts.push(vec![frame.at(a[0], a[1])]);
        }
        if let Some(part) = parts.last_mut() {
            part.push(frame.at(b[0], b[1]));
        }
        last = Some(b);
    }
    parts
}

/// The part of a side within the frame (Liang and Barsky 1984).
fn clip(a: [f64; 2], b: [f64; 2], frame: &Frame) -> Option<[[f64; 2]; 2]> {
    let (mut t0, mut t1) = (0.0_f64, 1.0_f64);
    for (k, axis) in [&frame.x, &frame.y].into_iter().enumerate() {
        let d = b[k] - a[k];
        for (p, q) in [(-d, a[k] - axis.low), (d, axis.high - a[k])] {
            if p == 0.0 {
                if q < 0.0 {
                    return None;
                }
            } else if p < 0.0 {
                t0 = t0.max(q / p);
            } else {
                t1 = t1.min(q / p);
            }
        }
    }
    let at = |t: f64| match t {
        0.0 => a,
        1.0 => b,
        t => [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])],
    };
    (t0 <= t1).then(|| [at(t0), at(t1)])
}

/// About every tenth px of a line: places a name may stand at.
fn thinned(line: &[Point]) -> impl Iterator<Item = &Point> {
    let mut last = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    line.iter().filter(move |&&(x, y)| {
        let far = libm::hypot(x - last.0, y - last.1) >= 10.0;
        if far {
            last = (x, y);
        }
        far
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leaves_the_frame_is_cut_at_it() {
        let axis = Axis { low: 0.0, high: 1.0, from: 0.0, to: 1.0 };
        let frame = Frame { x: axis.clone(), y: axis };
        let parts =
            clipped(&[[-1.0, 0.5], [0.5, 0.5], [0.5, 2.0], [0.75, f64::NAN], [0.8, 0.2], [1.8, 0.7]], &frame);
        assert_eq!(parts, [vec![(0.0, 0.5), (0.5, 0.5), (0.5, 1.0)], vec![(0.8, 0.2), (1.0, 0.3)]]);
    }
}
