//! Lengths written as a share of something else in the setup: `1/5 graduation`, `0.5 of the length`.

use crate::quantity::unit::{MICROMETRE, MILLIMETRE, Measure};
use crate::shop::grade::{Grade, UsBasis, UsGrade};

/// Something of which a length may be written as a share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Share {
    /// The indicator's graduation.
    Graduation,
    /// The plate's length.
    Length,
    /// The plate's width.
    Width,
    /// The plate's diagonal.
    Diagonal,
    /// What the finest US grade allows the whole plate, by the printed table or formula that the plate's own grade goes
    /// by; by the standard's way (GGG-P-463c) where it has no US grade.
    GradeAa,
}

impl Share {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Graduation, Self::Length, Self::Width, Self::Diagonal, Self::GradeAa];

    /// How it may be written after the number, the usual way first.
    pub fn words(self) -> &'static [&'static str] {
        match self {
            Self::Graduation => &["graduation", "graduations", "of a graduation", "division", "divisions"],
            Self::Length => &["of the length"],
            Self::Width => &["of the width"],
            Self::Diagonal => &["of the diagonal"],
            Self::GradeAa => &["of grade AA"],
        }
    }

    /// Reads `1/5 graduation`; `None` if the text is no share at all.
    pub fn parse(text: &str) -> Option<(f64, Self)> {
        let text = text.trim();
        let (share, number) = Self::ALL.iter().find_map(|share| {
            // The longest wording first, for "of a graduation" ends like "graduation".
            let mut words = share.words().to_vec();
            words.sort_by_key(|word| std::cmp::Reverse(word.len()));
            words.iter().find_map(|word| Some((*share, text.strip_suffix(word)?)))
        })?;
        let (above, below) = number.trim().split_once('/').unwrap_or((number.trim(), "1"));
        let [above, below] =
            [above, below].map(|part| part.trim().parse::<f64>().ok().filter(|part| part.is_finite()));
        let value = above? / below?;
        value.is_finite().then_some((value, share))
    }
}

/// What is known so far of the things that shares are taken of.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wholes {
    /// One graduation.
    pub graduation: Option<Measure>,
    /// The plate's length.
    pub length: Option<Measure>,
    /// The plate's width.
    pub width: Option<Measure>,
    /// The plate's grade.
    pub grade: Option<Grade>,
}

impl Wholes {
    /// What one whole `share` is.
    pub fn of(&self, share: Share) -> Option<Measure> {
        let side = |side: Option<Measure>| side.map(|side| side.to(MILLIMETRE));
        let diagonal = || Some(libm::hypot(side(self.length)?, side(self.width)?));
        match share {
            Share::Graduation => self.graduation,
            Share::Length => self.length,
            Share::Width => self.width,
            Share::Diagonal => diagonal().map(|value| Measure { value, unit: MILLIMETRE }),
            Share::GradeAa => {
                let (length, width) = (side(self.length)?, side(self.width)?);
                let basis = match self.grade {
                    Some(Grade::Us(_, basis)) => basis,
                    _ => UsBasis::Standard,
                };
                // A size that the table does not hold has been refused where the grade stands.
                let tolerance = Grade::Us(UsGrade::AA, basis).tolerance(length, width);
                let tolerance = tolerance
                    .or_else(|| Grade::Us(UsGrade::AA, UsBasis::Standard).tolerance(length, width))?;
                Some(Measure { value: tolerance.value, unit: MICROMETRE })
            }
        }
    }
}
