//! Flatness grades of surface plates: what a standard allows a plate of a given size.
//!
//! Sides are millimetres, tolerances micrometres, each with a text that names standard and basis.

/// A tolerance and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    /// The largest flatness deviation (or local variation) allowed, in µm.
    pub value: f64,
    /// Standard, grade and basis: "US grade A, GGG-P-463c printed table, 24 x 36 in".
    pub name: String,
}

/// A flatness grade of a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grade {
    /// Granite plates in the United States: Federal Specification GGG-P-463c (1973), carried into
    /// ASME B89.3.7-2013.
    Us(UsGrade, UsBasis),
    /// Cast iron (ISO 8512-1:1990) and granite (ISO 8512-2:1990); JIS B 7513 declares itself
    /// equivalent.
    Iso8512(IsoGrade),
    /// Cast iron and granite: DIN 876, parts 1 and 2.
    Din876(DinGrade),
}

/// Grade of GGG-P-463c, from the finest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UsGrade {
    /// Laboratory grade.
    AA,
    /// Inspection grade: twice AA.
    A,
    /// Toolroom grade: four times AA.
    B,
}

/// Which of the two figures of GGG-P-463c counts. They differ: 24 x 36 in has 100 µin in the table
/// and 114.9 µin by the formula; 36 x 48 in 200 and 184.0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UsBasis {
    /// The standard's own way: the printed table for a plate within 5 % of a size in it, for others
    /// the formula, AA rounded to the nearest 25 µin (the rule from memory).
    Standard,
    /// The printed table, and nothing for sizes it does not hold.
    Table,
    /// The formula as it stands.
    Formula,
}

/// Grade of ISO 8512, from the finest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IsoGrade {
    /// 0.
    Zero,
    /// 1.
    One,
    /// 2.
    Two,
    /// 3.
    Three,
}

/// Grade of DIN 876, from the finest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DinGrade {
    /// 00.
    DoubleZero,
    /// 0.
    Zero,
    /// 1.
    One,
    /// 2.
    Two,
    /// 3.
    Three,
}

impl Grade {
    /// Every grade, in the order they are listed to a user.
    pub const ALL: [Self; 18] = [
        Self::Us(UsGrade::AA, UsBasis::Standard),
        Self::Us(UsGrade::A, UsBasis::Standard),
        Self::Us(UsGrade::B, UsBasis::Standard),
        Self::Us(UsGrade::AA, UsBasis::Table),
        Self::Us(UsGrade::A, UsBasis::Table),
        Self::Us(UsGrade::B, UsBasis::Table),
        Self::Us(UsGrade::AA, UsBasis::Formula),
        Self::Us(UsGrade::A, UsBasis::Formula),
        Self::Us(UsGrade::B, UsBasis::Formula),
        Self::Iso8512(IsoGrade::Zero),
        Self::Iso8512(IsoGrade::One),
        Self::Iso8512(IsoGrade::Two),
        Self::Iso8512(IsoGrade::Three),
        Self::Din876(DinGrade::DoubleZero),
        Self::Din876(DinGrade::Zero),
        Self::Din876(DinGrade::One),
        Self::Din876(DinGrade::Two),
        Self::Din876(DinGrade::Three),
    ];

    /// Its name as a setup file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Us(UsGrade::AA, UsBasis::Standard) => "US AA",
            Self::Us(UsGrade::A, UsBasis::Standard) => "US A",
            Self::Us(UsGrade::B, UsBasis::Standard) => "US B",
            Self::Us(UsGrade::AA, UsBasis::Table) => "US AA, printed table",
            Self::Us(UsGrade::A, UsBasis::Table) => "US A, printed table",
            Self::Us(UsGrade::B, UsBasis::Table) => "US B, printed table",
            Self::Us(UsGrade::AA, UsBasis::Formula) => "US AA, formula",
            Self::Us(UsGrade::A, UsBasis::Formula) => "US A, formula",
            Self::Us(UsGrade::B, UsBasis::Formula) => "US B, formula",
            Self::Iso8512(IsoGrade::Zero) => "ISO 8512 grade 0",
            Self::Iso8512(IsoGrade::One) => "ISO 8512 grade 1",
            Self::Iso8512(IsoGrade::Two) => "ISO 8512 grade 2",
            Self::Iso8512(IsoGrade::Three) => "ISO 8512 grade 3",
            Self::Din876(DinGrade::DoubleZero) => "DIN 876 grade 00",
            Self::Din876(DinGrade::Zero) => "DIN 876 grade 0",
            Self::Din876(DinGrade::One) => "DIN 876 grade 1",
            Self::Din876(DinGrade::Two) => "DIN 876 grade 2",
            Self::Din876(DinGrade::Three) => "DIN 876 grade 3",
        }
    }

    /// The flatness tolerance of a plate with the given sides (mm, either order).
    ///
    /// `None` only for [`UsBasis::Table`] and a size that is not in the table.
    pub fn tolerance(self, length: f64, width: f64) -> Option<Tolerance> {
        match self {
            Self::Us(grade, basis) => us_tolerance(grade, basis, length, width),
            Self::Iso8512(grade) => Some(iso_tolerance(grade, length, width)),
            Self::Din876(grade) => Some(din_tolerance(grade, length.max(width))),
        }
    }

    /// The limit of local variation of a plate with the given sides (mm): what a short-based check
    /// may be compared with.
    ///
    /// US: the repeat reading, by diagonal (GGG-P-463c table II; inch table from memory, the metric
    /// table of its amendment 1 read). ISO 8512: flatness of any 250 x 250 mm (from memory). `None`
    /// for DIN 876, for which no such limit is known here.
    pub fn local_variation(self, length: f64, width: f64) -> Option<Tolerance> {
        match self {
            Self::Us(grade, _) => {
                let diagonal = libm::hypot(length, width) / MM_PER_INCH;
                let (_, limits) = REPEAT_READING
                    .iter()
                    .find(|(up_to, _)| diagonal <= up_to * (1.0 + 1e-9))
                    .unwrap_or(&REPEAT_READING[REPEAT_READING.len() - 1]);
                let microinches = limits[grade as usize];
                Some(Tolerance {
                    value: microinches * UM_PER_MICROINCH,
                    name: format!("US grade {grade:?}, repeat reading, GGG-P-463c table II"),
                })
            }
            Self::Iso8512(grade) => {
                let name = format!("{}, flatness of any 250 x 250 mm", self.name());
                Some(Tolerance { value: [3.5, 7.0, 15.0, 30.0][grade as usize], name })
            }
            Self::Din876(_) => None,
        }
    }

    /// The strip along the edges that the standard leaves out (mm), for a plate with the given
    /// sides (mm). `None` where no rule is known here (DIN 876).
    ///
    /// US: 1 to 1.5 in by plate size (GGG-P-463c); that the wider strip begins above a diagonal of
    /// 60 in is common practice, no source. ISO 8512: 2 % of the shorter side, at most 20 mm (from
    /// memory).
    pub fn margin(self, length: f64, width: f64) -> Option<f64> {
        match self {
            Self::Us(..) if libm::hypot(length, width) <= 60.0 * MM_PER_INCH * (1.0 + 1e-9) => {
                Some(MM_PER_INCH)
            }
            Self::Us(..) => Some(1.5 * MM_PER_INCH),
            Self::Iso8512(_) => Some((0.02 * length.min(width)).min(20.0)),
            Self::Din876(_) => None,
        }
    }
}

const MM_PER_INCH: f64 = 25.4;
const UM_PER_MICROINCH: f64 = 0.0254;

/// GGG-P-463c table III, grade AA: sides in inches, tolerance in microinches. It is a rounded table,
/// not the formula. Rows marked `read` were read in a calibration laboratory's quotation, the others
/// are from memory (18 x 18 is the least certain).
const PRINTED_TABLE: [([f64; 2], f64); 17] = [
    ([12.0, 12.0], 50.0),    // read
    ([12.0, 18.0], 50.0),    // memory
    ([18.0, 18.0], 50.0),    // memory
    ([18.0, 24.0], 75.0),    // read
    ([24.0, 24.0], 75.0),    // memory
    ([24.0, 36.0], 100.0),   // read
    ([24.0, 48.0], 150.0),   // memory
    ([36.0, 36.0], 150.0),   // memory
    ([36.0, 48.0], 200.0),   // read
    ([36.0, 60.0], 250.0),   // memory
    ([36.0, 72.0], 300.0),   // memory
    ([48.0, 48.0], 200.0),   // memory
    ([48.0, 60.0], 300.0),   // memory
    ([48.0, 72.0], 350.0),   // read
    ([48.0, 96.0], 500.0),   // memory
    ([72.0, 96.0], 600.0),   // memory
    ([72.0, 144.0], 1100.0), // memory
];

/// GGG-P-463c table II: up to this diagonal (in), grades AA, A, B (µin).
const REPEAT_READING: [(f64, [f64; 3]); 6] = [
    (30.0, [35.0, 60.0, 110.0]),
    (60.0, [45.0, 70.0, 120.0]),
    (90.0, [60.0, 80.0, 160.0]),
    (120.0, [75.0, 100.0, 200.0]),
    (150.0, [90.0, 120.0, 240.0]),
    (f64::INFINITY, [100.0, 140.0, 280.0]),
];

/// `40 + D²/25` µin for AA, D the diagonal in inches; twice that for A, four times for B.
fn us_tolerance(grade: UsGrade, basis: UsBasis, length: f64, width: f64) -> Option<Tolerance> {
    let factor = [1.0, 2.0, 4.0][grade as usize];
    let sides = [length.min(width) / MM_PER_INCH, length.max(width) / MM_PER_INCH];
    let formula = 40.0 + (sides[0] * sides[0] + sides[1] * sides[1]) / 25.0;
    let row = PRINTED_TABLE.iter().find(|(row, _)| (0..2).all(|i| (sides[i] / row[i] - 1.0).abs() <= 0.05));
    let (microinches, how) = match (basis, row) {
        (UsBasis::Standard | UsBasis::Table, Some((row, tolerance))) => {
            (*tolerance, format!("GGG-P-463c printed table, {} x {} in", row[0], row[1]))
        }
        (UsBasis::Table, None) => return None,
        (UsBasis::Standard, None) => (
            25.0 * (formula / 25.0).round(),
            "GGG-P-463c formula 40 + D²/25 µin for AA, rounded to 25 µin (size not in the printed table)"
                .into(),
        ),
        (UsBasis::Formula, _) => (formula, "GGG-P-463c formula 40 + D²/25 µin for AA, not rounded".into()),
    };
    Some(Tolerance {
        value: factor * microinches * UM_PER_MICROINCH,
        name: format!("US grade {grade:?}, {how}"),
    })
}

/// `0.003 d + 2.5` µm for grade 0, doubled for each further one; d is the diagonal in mm, rounded up
/// to the next 100. Grade 0 is rounded to 0.5 µm and the others to 1 µm, which gives every row of
/// the standard's table (formula and table: two separate memories that agree).
fn iso_tolerance(grade: IsoGrade, length: f64, width: f64) -> Tolerance {
    let diagonal = 100.0 * (libm::hypot(length, width) / 100.0 - 1e-9).ceil();
    let factor = [1.0, 2.0, 4.0, 8.0][grade as usize];
    let step = if grade == IsoGrade::Zero { 0.5 } else { 1.0 };
    Tolerance {
        value: step * (factor * (0.003 * diagonal + 2.5) / step).round(),
        name: format!(
            "{}, {} d + {} µm with d = {diagonal} mm",
            Grade::Iso8512(grade).name(),
            3.0 * factor / 1000.0,
            2.5 * factor
        ),
    }
}

/// `4 + L/250` µm for grade 0 and so on; L is the longest side in mm. Grade 00 from memory.
fn din_tolerance(grade: DinGrade, longest: f64) -> Tolerance {
    let (base, divisor) = match grade {
        DinGrade::DoubleZero => (2.0, 500.0),
        DinGrade::Zero => (4.0, 250.0),
        DinGrade::One => (10.0, 100.0),
        DinGrade::Two => (20.0, 50.0),
        DinGrade::Three => (40.0, 25.0),
    };
    Tolerance {
        value: base + longest / divisor,
        name: format!("{}, {base} + L/{divisor} µm with L = {longest} mm", Grade::Din876(grade).name()),
    }
}
