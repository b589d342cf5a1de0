//! A measurement model: measurands, the formulas they follow, and what is known of the inputs.

use crate::model::formula::{Formula, FormulaError};
use crate::model::parser::is_free_name;
use crate::quantity::correlation::{Correlation, CorrelationError};
use crate::quantity::distribution::{Distribution, ParameterError};
use crate::quantity::type_a::{Estimate, Series, Simultaneous};
use std::fmt;

/// What is known of an input quantity, for both ways of propagation; in the quantity's own unit.
///
/// The law of propagation takes the estimate, the standard uncertainty and its degrees of freedom,
/// Monte Carlo the distribution. They usually follow from one another ([`Knowledge::of`],
/// [`Knowledge::estimated`]), but need not: GUM H.1 and JCGM 101 9.5 give the same rectangle as 2 degrees of
/// freedom to one and as inexact limits to the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knowledge {
    /// The estimate x.
    pub estimate: f64,
    /// Its standard uncertainty u(x), at least 0.
    pub standard_uncertainty: f64,
    /// Of the standard uncertainty; infinite if it is taken as known.
    pub degrees_of_freedom: f64,
    /// The probability density that stands for the knowledge.
    pub distribution: Distribution,
}

impl Knowledge {
    /// What a distribution says. The standard uncertainty of t is its scale and not its standard deviation, since the
    /// law of propagation accounts for its tails by the degrees of freedom (GUM G.3).
    pub fn of(distribution: Distribution) -> Self {
        let (estimate, standard_uncertainty) = match distribution {
            Distribution::StudentT { location, scale, .. } => (location, scale),
            other => (other.mean(), other.standard_uncertainty()),
        };
        let degrees_of_freedom = distribution.degrees_of_freedom();
        Self { estimate, standard_uncertainty, degrees_of_freedom, distribution }
    }

    /// An estimate with its standard uncertainty: from readings, a fit, or a certificate. Its density is t with
    /// the degrees of freedom, or normal if they are infinite (JCGM 101 6.4.7 and 6.4.9).
    ///
    /// # Errors
    ///
    /// Numbers that no estimate can have.
    pub fn estimated(estimate: Estimate) -> Result<Self, ParameterError> {
        Ok(Self {
            estimate: estimate.value,
            standard_uncertainty: estimate.standard_uncertainty,
            degrees_of_freedom: estimate.degrees_of_freedom,
            distribution: estimate.distribution()?,
        })
    }

    /// What N series of readings taken together say, each as an input of its own; their correlations come with them, as
    /// `readings.correlation`.
    ///
    /// For the law of propagation each has n − 1 degrees of freedom, as alone. The joint density is the
    /// multivariate t with n − N degrees of freedom (JCGM 102:2011, 5.3.2), whose scale is larger by
    /// `√((n − 1)/(n − N))`.
    ///
    /// # Errors
    ///
    /// If there are no more readings of each than quantities: then no joint density follows from them.
    pub fn simultaneous(readings: &Simultaneous) -> Result<Vec<Self>, ParameterError> {
        let n_quantities = readings.series.len() as f64;
        let joint = |series: &Series| {
            let alone = series.estimate();
            let degrees_of_freedom = series.n_readings as f64 - n_quantities;
            let wider = (alone.degrees_of_freedom / degrees_of_freedom.max(f64::MIN_POSITIVE)).sqrt();
            let scale = alone.standard_uncertainty * wider;
            Ok(Self {
                distribution: Distribution::student_t(alone.value, scale, degrees_of_freedom)?,
                ..Self::estimated(alone)?
            })
        };
        readings.series.iter().map(joint).collect()
    }

    /// The same with other degrees of freedom of the standard uncertainty (GUM G.4.2); the density stays.
    pub fn with_degrees_of_freedom(self, degrees_of_freedom: f64) -> Self {
        Self { degrees_of_freedom, ..self }
    }

    /// The third and fourth standardised moments with which the law of propagation takes the input: its distribution's,
    /// but for t those of the normal, since the law takes its scale for the standard uncertainty and accounts for its
    /// tails by the degrees of freedom.
    pub fn skewness_and_kurtosis(&self) -> [f64; 2] {
        match self.distribution {
            Distribution::StudentT { .. } => [0.0, 3.0],
            other => [other.skewness(), other.kurtosis()],
        }
    }

    /// Whether the value is taken as exactly known.
    pub fn is_exact(&self) -> bool {
        self.standard_uncertainty == 0.0 && matches!(self.distribution, Distribution::Constant { .. })
    }
}

/// An input quantity X.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// As it stands in the formulas.
    pub name: String,
    /// As it is to be written; nothing is converted.
    pub unit: String,
    /// What is known of it, in `unit`.
    pub knowledge: Knowledge,
}

/// An output quantity Y.
#[derive(Debug, Clone)]
pub struct Measurand {
    /// What it is called.
    pub name: String,
    /// As it is to be written; nothing is converted.
    pub unit: String,
    /// `Y = f(X₁, …, X_N)`, its inputs in the order of the model's. Its text may name measurands that come before.
    pub formula: Formula,
}

/// Measurands, the inputs that they depend on, and the correlations of these; checked.
#[derive(Debug, Clone)]
pub struct MeasurementModel {
    measurands: Vec<Measurand>,
    inputs: Vec<Input>,
    correlation: Correlation,
    evaluated_together: Vec<Vec<usize>>,
}

/// One thing that is wrong with a model, by its place in the lists that it was to be made of.
#[derive(Debug, Clone, PartialEq)]
pub enum ModelFault {
    /// There is no measurand.
    NoMeasurand,
    /// There is no input.
    NoInput,
    /// An input's name cannot stand in a formula, or is that of a function or a constant.
    InputName {
        /// Index of the input.
        input: usize,
    },
    /// Two inputs have one name.
    InputTwice {
        /// Index of the later one.
        input: usize,
        /// Index of the earlier one.
        earlier: usize,
    },
    /// An estimate or uncertainty is not a number one can calculate with.
    InputKnowledge {
        /// Index of the input.
        input: usize,
    },
    /// Two measurands have one name.
    MeasurandTwice {
        /// Index of the later one.
        measurand: usize,
        /// Index of the earlier one.
        earlier: usize,
    },
    /// A formula cannot be read.
    Formula {
        /// Index of the measurand.
        measurand: usize,
        /// Where in it, and why.
        error: FormulaError,
    },
    /// The correlations are impossible.
    Correlation(CorrelationError),
}

impl MeasurementModel {
    /// A model of measurands, each with name, unit and formula, that depend on `inputs`, of which the named pairs
    /// have the given correlation coefficients and all others none.
    ///
    /// # Errors
    ///
    /// All that is wrong with it.
    pub fn new(
        measurands: &[(&str, &str, &str)],
        inputs: Vec<Input>,
        correlations: &[(&str, &str, f64)],
    ) -> Result<Self, Vec<ModelFault>> {
        let mut faults = Vec::new();
        let names: Vec<&str> = inputs.iter().map(|input| input.name.as_str()).collect();
        for (input, Input { name, knowledge, .. }) in inputs.iter().enumerate() {
            if !is_free_name(name) {
                faults.push(ModelFault::InputName { input });
            }
            if let Some(earlier) = names[..input].iter().position(|earlier| earlier == name) {
                faults.push(ModelFault::InputTwice { input, earlier });
            }
            let Knowledge { estimate, standard_uncertainty: u, degrees_of_freedom: nu, .. } = *knowledge;
            if !estimate.is_finite() || !(0.0..f64::INFINITY).contains(&u) || nu.is_nan() || nu <= 0.0 {
                faults.push(ModelFault::InputKnowledge { input });
            }
        }
        if measurands.is_empty() {
            faults.push(ModelFault::NoMeasurand);
        }
        if inputs.is_empty() {
            faults.push(ModelFault::NoInput);
            return Err(faults);
        }
        let mut read: Vec<Measurand> = Vec::new();
        for (measurand, (name, unit, formula)) in measurands.iter().enumerate() {
            if let Some(earlier) = measurands[..measurand].iter().position(|(earlier, ..)| earlier == name) {
                faults.push(ModelFault::MeasurandTwice { measurand, earlier });
            }
            // Those above may be used by their names, but the names of inputs come first.
            let usable =
                |above: &&Measurand| is_free_name(&above.name) && !names.contains(&above.name.as_str());
            let above: Vec<(&str, &Formula)> = read
                .iter()
                .filter(usable)
                .map(|above: &Measurand| (above.name.as_str(), &above.formula))
                .collect();
            let parsed = Formula::parse_with(formula, &names, &above);
            match parsed {
                Ok(formula) => {
                    read.push(Measurand { name: (*name).to_owned(), unit: (*unit).to_owned(), formula });
                }
                Err(error) => {
                    faults.push(ModelFault::Formula { measurand, error });
                    // Something stands for it below, where its name is used: one fault is told once.
                    let (name, unit) = ((*name).to_owned(), (*unit).to_owned());
                    read.extend(Formula::parse("1", &[]).map(|formula| Measurand { name, unit, formula }));
                }
            }
        }
        match Correlation::from_pairs(&names, correlations) {
            Ok(correlation) if faults.is_empty() => {
                Ok(Self { measurands: read, inputs, correlation, evaluated_together: Vec::new() })
            }
            Ok(_) => Err(faults),
            Err(error) => {
                faults.push(ModelFault::Correlation(error));
                Err(faults)
            }
        }
    }

    /// The same model, of whose inputs some were evaluated together, from one set of readings, so that their standard
    /// uncertainties rest on one and the same scatter; each by its place among the inputs, and in one group at most.
    pub fn with_evaluated_together(self, groups: Vec<Vec<usize>>) -> Self {
        Self { evaluated_together: groups, ..self }
    }

    /// Groups of inputs that were evaluated together; those in none, each by itself.
    pub fn evaluated_together(&self) -> &[Vec<usize>] {
        &self.evaluated_together
    }

    /// The measurands, at least one.
    pub fn measurands(&self) -> &[Measurand] {
        &self.measurands
    }

    /// The inputs.
    pub fn inputs(&self) -> &[Input] {
        &self.inputs
    }

    /// The correlation coefficients of the inputs.
    pub fn correlation(&self) -> &Correlation {
        &self.correlation
    }

    /// The estimates of the inputs.
    pub fn estimates(&self) -> Vec<f64> {
        self.inputs.iter().map(|input| input.knowledge.estimate).collect()
    }
}

/// The quantities in groups that are correlated among themselves and with no other, in the order of their
/// first ones; most stand alone.
pub fn correlated_groups(correlation: &Correlation) -> Vec<Vec<usize>> {
    let n = correlation.n_quantities();
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut placed = vec![false; n];
    for first in 0..n {
        if placed[first] {
            continue;
        }
        let mut group = vec![first];
        placed[first] = true;
        let mut next = 0;
        while next < group.len() {
            for (other, placed) in placed.iter_mut().enumerate() {
                if !*placed && correlation.coefficient(group[next], other) != 0.0 {
                    *placed = true;
                    group.push(other);
                }
            }
            next += 1;
        }
        group.sort_unstable();
        groups.push(group);
    }
    groups
}

impl fmt::Display for ModelFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoMeasurand => write!(f, "there is no measurand; give at least one, with its formula"),
            Self::NoInput => write!(f, "there is no input; give at least one, with what is known of it"),
            Self::InputName { input } => write!(
                f,
                "input {}: a name must be letters, digits and _, not begin with a digit, and not be that of a function or of pi",
                input + 1
            ),
            Self::InputTwice { input, earlier } => {
                write!(f, "input {} has the name of input {}; rename one", input + 1, earlier + 1)
            }
            Self::InputKnowledge { input } => write!(
                f,
                "input {}: the estimate and its standard uncertainty must be finite, the uncertainty not negative, the degrees of freedom greater than 0",
                input + 1
            ),
            Self::MeasurandTwice { measurand, earlier } => {
                write!(f, "measurand {} has the name of measurand {}; rename one", measurand + 1, earlier + 1)
            }
            Self::Formula { measurand, error } => {
                write!(f, "formula of measurand {}: {error}", measurand + 1)
            }
            Self::Correlation(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ModelFault {}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal(name: &str) -> Input {
        let knowledge = Knowledge::of(Distribution::Normal { mean: 1.0, standard_deviation: 0.1 });
        Input { name: name.into(), unit: "1".into(), knowledge }
    }

    #[test]
    fn all_faults_are_found_at_once() {
        let mut inputs = vec![normal("x"), normal("2y"), normal("sin"), normal("x"), normal("π")];
        inputs[0].knowledge.standard_uncertainty = -1.0;
        let measurands = [("a", "mm", "x +"), ("b", "mm", "x"), ("a", "mm", "q")];
        let faults = MeasurementModel::new(&measurands, inputs, &[("x", "z", 0.5)]).unwrap_err();
        assert_eq!(faults[0], ModelFault::InputKnowledge { input: 0 });
        assert_eq!(faults[1], ModelFault::InputName { input: 1 });
        assert_eq!(faults[2], ModelFault::InputName { input: 2 });
        assert_eq!(faults[3], ModelFault::InputTwice { input: 3, earlier: 0 });
        assert_eq!(faults[4], ModelFault::InputName { input: 4 });
        assert!(matches!(&faults[5], ModelFault::Formula { measurand: 0, error } if error.column == 4));
        assert_eq!(faults[6], ModelFault::MeasurandTwice { measurand: 2, earlier: 0 });
        assert!(matches!(&faults[7], ModelFault::Formula { measurand: 2, .. }));
        assert!(matches!(&faults[8], ModelFault::Correlation(_)));
        assert_eq!(
            MeasurementModel::new(&[], vec![], &[]).unwrap_err(),
            [ModelFault::NoMeasurand, ModelFault::NoInput]
        );
    }

    #[test]
    fn groups_are_what_correlation_connects() {
        let inputs = ["a", "b", "c", "d", "e"].map(normal).to_vec();
        let pairs = [("a", "d", 0.5), ("d", "b", 0.2)];
        let model = MeasurementModel::new(&[("y", "1", "a+b+c+d+e")], inputs, &pairs).unwrap();
        assert_eq!(correlated_groups(model.correlation()), [vec![0, 1, 3], vec![2], vec![4]]);
    }

    /// Five readings of three quantities: 2 degrees of freedom for all together, and the scatter matrix over 2 instead of 4.
    #[test]
    fn simultaneous_readings_share_their_degrees_of_freedom() {
        let readings: [&[f64]; 3] =
            [&[1.0, 2.0, 4.0, 3.0, 5.0], &[2.0, 1.0, 0.0, 2.0, 1.0], &[0.0, 1.0, 1.0, 3.0, 2.0]];
        let together = Simultaneous::of(&readings).unwrap();
        let knowledge = Knowledge::simultaneous(&together).unwrap();
        assert_eq!((knowledge[0].estimate, knowledge[0].degrees_of_freedom), (3.0, 4.0));
        assert!((knowledge[0].standard_uncertainty - 0.5_f64.sqrt()).abs() < 1e-15);
        let Distribution::StudentT { scale, degrees_of_freedom, .. } = knowledge[0].distribution else {
            panic!()
        };
        assert!((scale - 1.0).abs() < 1e-15 && degrees_of_freedom == 2.0);
        let too_few = Simultaneous::of(&readings.map(|series| &series[..3])).unwrap();
        assert!(Knowledge::simultaneous(&too_few).is_err());
    }
}
