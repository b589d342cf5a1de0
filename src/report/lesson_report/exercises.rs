//! Exercises for this stand and plate, to be worked with a pocket calculator.

use super::*;

impl LessonReport<'_> {
    /// Two exercises for this stand and plate, to be worked with a pocket calculator.
    pub(super) fn exercises(&self) -> [Exercise; 2] {
        [self.exercise_on_lever(), self.exercise_on_tilt()]
    }

    pub(super) fn exercise_on_lever(&self) -> Exercise {
        let h = self.heights();
        let side = &self.lesson.side;
        let [rear, front] = [side.rear, side.front].map(|at| self.plan(at));
        // Round numbers, and everything reckoned from them as they are written.
        let spacing = front - rear;
        let longest = self.plan(self.setup.check.stand.reach[1]);
        let reach = libm::round(front + 2.0 * spacing).min(longest);
        let depth = 2.0 * h.of(self.lesson.depth);
        let weight = -(reach - front) / spacing;
        let unit = self.setup.plan_unit.symbol();
        let number = |value: f64| plain(value, Digits::Decimals(2));
        let value = |value: f64| format!("{} {}", plain(value, h.digits()), h.label());
        let in_micrometres = |value: f64| Measure { value, unit: self.setup.unit }.to(MICROMETRE);
        Exercise {
            question: format!(
                "The rear of this stand sinks {} into a dip; rear and front are {} and {} {unit} ahead of the column, and the tip \
                 is {} {unit} ahead of it. The plate under the block is true. What does the indicator show?",
                value(depth),
                number(rear),
                number(front),
                number(reach)
            ),
            answer: format!(
                "The lever of the rear is -({} - {}) / ({} - {}) = {}, so the reading is {} x {} = {}; the dial shows {}. The block \
                 has not moved: it is the arm that has risen.",
                number(reach),
                bracketed(front, Digits::Decimals(2)),
                number(front),
                bracketed(rear, Digits::Decimals(2)),
                plain(weight, Digits::Decimals(3)),
                plain(weight, Digits::Decimals(3)),
                value(depth),
                value(weight * depth),
                self.dial(in_micrometres(weight * depth))
            ),
        }
    }

    /// The middle is low by one and a half dips; the rest is tilt. All of it as this indicator is read.
    pub(super) fn exercise_on_tilt(&self) -> Exercise {
        let h = self.heights();
        let zero = self.added("front right");
        let digits = self.dial_digits();
        let value = |value: f64| format!("{} {}", plain(value, digits), h.label());
        let rounded = |micrometres: f64| h.of(self.on_dial(micrometres));
        let left = rounded(self.added("back left") - zero);
        let far = rounded(self.added("back right") - zero);
        let middle = rounded(self.added("middle") - zero - 1.5 * self.lesson.depth);
        // Half a step has a digit more than a step may have.
        let halves = self.digits_of(0.5 * self.setup.check.indicator.read_step);
        let mean = left / 2.0;
        let read = [0.0, left, far, middle];
        let spread = read.into_iter().fold(f64::NEG_INFINITY, f64::max)
            - read.into_iter().fold(f64::INFINITY, f64::min);
        Exercise {
            question: format!(
                "A stand is parked in the front left corner of this plate. Zeroed at the front right corner it reads {} at the \
                 back left, {} at the back right and {} in the middle. How much lower or higher is the middle than the \
                 corners, if these lie in one plane?",
                value(left),
                value(far),
                value(middle)
            ),
            answer: format!(
                "A tilt moves the middle as it moves the mean of the two neighbouring corners, (0 + {}) / 2 = {}. So the middle \
                 stands at {} - {} = {} {} from the plane of the corners. The largest minus the smallest reading would have \
                 said {}.",
                plain(left, digits),
                plain(mean, halves),
                plain(middle, digits),
                bracketed(mean, halves),
                plain(middle - mean, halves),
                h.label(),
                value(spread),
            ),
        }
    }
}
