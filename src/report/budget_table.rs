//! The table of a budget by the law of propagation, with the columns of the GUM.

use super::{
    number::{Digits, percent},
    table::{Cell, Column, Table},
};
use crate::{
    propagation::law::Budget,
    quantity::{
        distribution::Distribution,
        rounding::{Rounded, significant},
    },
};

/// The budget's table: one row a quantity, and the result below (GUM 4 to 7, H.1 as the model of
/// the layout of columns).
pub fn budget_table(budget: &Budget, caption: &str) -> Table {
    let significant = Digits::Significant(3);
    let dof = |value: f64| match value.is_finite() {
        true => Cell::Number(value, Digits::Decimals(1)),
        false => "inf".into(),
    };
    Table::of(format!("{caption}: {}", result(budget)), &budget.inputs)
        .text("quantity", |row| row.name.as_str())
        .column(Column::numbers("estimate", ""), |row| {
            Cell::Number(row.estimate, Digits::worth(row.estimate, row.standard_uncertainty, 3))
        })
        .number("standard uncertainty", "", significant, |row| row.standard_uncertainty)
        .text("unit", |row| row.unit.as_str())
        .text("distribution", |row| row.distribution.as_str())
        .column(Column::numbers("degrees of freedom", ""), |row| dof(row.degrees_of_freedom))
        .number("sensitivity coefficient", "", significant, |row| row.sensitivity)
        .number("contribution", &budget.unit, significant, |row| row.contribution)
        .percent("share", 1, |row| row.share)
        .table()
}

/// A unit behind a number, with its space; nothing for a pure number.
pub fn behind(unit: &str) -> String {
    match unit {
        "" | "1" => String::new(),
        unit => format!(" {unit}"),
    }
}

/// A distribution's parameters: "mean 0 mm, standard deviation 1 mm".
fn parameters(density: &Distribution, unit: &str) -> String {
    let parameters = density.parameters().into_iter().map(|(name, value)| {
        let unit = match name {
            "top_to_base" | "degrees_of_freedom" | "shape" | "spread" => String::new(),
            _ => behind(unit),
        };
        format!("{} {}{unit}", name.replace('_', " "), significant(value, 10))
    });
    parameters.collect::<Vec<_>>().join(", ")
}

/// A distribution by its name, with its parameters.
pub fn described(density: &Distribution, unit: &str) -> String {
    format!("{}, {}", density.name(), parameters(density, unit))
}

/// Each input's distribution with its limits or other parameters, of one budget or several: with the formula all that it
/// takes to work the budget out again.
pub fn distributions_table<'a>(budgets: impl Iterator<Item = &'a Budget>) -> Table {
    let known = budgets.flat_map(|budget| &budget.inputs);
    let rows = known.filter_map(|row| {
        Some((row.name.as_str(), row.distribution.as_str(), parameters(row.density.as_ref()?, &row.unit)))
    });
    let mut once: Vec<(&str, &str, String)> = Vec::new();
    rows.for_each(|row| {
        if !once.contains(&row) {
            once.push(row)
        }
    });
    Table::of("Distributions of the inputs, with their parameters", once)
        .text("quantity", |(name, ..)| *name)
        .text("distribution", |(_, distribution, _)| *distribution)
        .text("parameters", |(.., parameters)| parameters.clone())
        .table()
}

/// The result of a budget in words: estimate, combined standard uncertainty, effective degrees of
/// freedom, coverage factor and expanded uncertainty, rounded as GUM 7.2.6 asks.
pub fn result(budget: &Budget) -> String {
    let unit = behind(&budget.unit);
    if budget.no_law.is_some() {
        return format!(
            "estimate {}{unit}; the law of propagation does not apply",
            significant(budget.estimate, 6)
        );
    }
    let combined = Rounded::of(budget.estimate, budget.combined_standard_uncertainty, 2);
    let expanded = Rounded::of(budget.estimate, budget.expanded_uncertainty, 2);
    let nu = budget.effective_degrees_of_freedom;
    let nu = if nu < 1e4 { format!("{nu:.1}") } else { "infinite".to_string() };
    format!(
        "estimate {}{unit}, combined standard uncertainty {}{unit}, effective degrees of freedom {nu}, coverage factor \
         {:.2} for {}, expanded uncertainty {}{unit}",
        combined.estimate,
        combined.uncertainty,
        budget.coverage_factor,
        percent(budget.coverage_probability),
        expanded.uncertainty,
    )
}
