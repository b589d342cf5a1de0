//! What plates, columns and blocks are made of.

use crate::quantity::distribution::Distribution;

/// A material by its handbook name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Material {
    /// Granite of no stated kind.
    Granite,
    /// Black granite: diabase, gabbro.
    BlackGranite,
    /// Grey cast iron.
    CastIron,
    /// Plain carbon steel.
    Steel,
    /// Gauge-block steel.
    GaugeBlockSteel,
    /// Aluminium alloy 6061.
    Aluminium,
    /// Tungsten carbide with 6 to 9 % cobalt.
    TungstenCarbide,
    /// Zirconia ceramic.
    Zirconia,
    /// Invar, 36 % nickel.
    Invar,
}

impl Material {
    /// Every material, in the order they are listed to a user.
    pub const ALL: [Self; 9] = [
        Self::Granite,
        Self::BlackGranite,
        Self::CastIron,
        Self::Steel,
        Self::GaugeBlockSteel,
        Self::Aluminium,
        Self::TungstenCarbide,
        Self::Zirconia,
        Self::Invar,
    ];

    /// Its name as a setup file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Granite => "granite",
            Self::BlackGranite => "black granite",
            Self::CastIron => "cast iron",
            Self::Steel => "steel",
            Self::GaugeBlockSteel => "gauge block steel",
            Self::Aluminium => "aluminium",
            Self::TungstenCarbide => "tungsten carbide",
            Self::Zirconia => "zirconia",
            Self::Invar => "invar",
        }
    }

    /// Coefficient of linear expansion near 20 °C, in 1/K, with what is not known of it: limits around the
    /// handbook rows that [`Self::expansion_source`] names.
    pub fn expansion(self) -> Distribution {
        let (low, high) = match self {
            Self::Granite => (4.0e-6, 9.0e-6),
            Self::BlackGranite => (4.0e-6, 7.0e-6),
            Self::CastIron => (10.4e-6, 11.6e-6),
            Self::Steel => (11.3e-6, 12.3e-6),
            Self::GaugeBlockSteel => (10.5e-6, 12.5e-6),
            Self::Aluminium => (23.1e-6, 24.1e-6),
            Self::TungstenCarbide => (4.0e-6, 5.0e-6),
            Self::Zirconia => (8.6e-6, 10.0e-6),
            Self::Invar => (0.7e-6, 2.5e-6),
        };
        Distribution::Rectangular { low, high }
    }

    /// The handbook rows (in 10⁻⁶/K) that [`Self::expansion`] is put around.
    pub fn expansion_source(self) -> &'static str {
        match self {
            Self::Granite => {
                "granite 7.9 (a common handbook table), 7.4 (a materials database), 6.3 (gauge-block handbook, from \
                 memory); 4 to 9 by kind of stone"
            }
            Self::BlackGranite => "diabase and gabbro, 4 to 7 by their makers",
            Self::CastIron => "Callister, table B.6: grey cast iron 11.4; a general engineering table: 10.8",
            Self::Steel => "Callister, table B.6: steel A36 and 1020 11.7, 1040 11.3, 4140 12.3",
            Self::GaugeBlockSteel => "ISO 3650:1998, clause 6: 11.5 ± 1.0 (from memory)",
            Self::Aluminium => "Callister, table B.6: aluminium 6061 23.6, 7075 23.4",
            Self::TungstenCarbide => {
                "gauge-block handbook: carbide with 6 to 9 % cobalt 4.5 ± 0.5 (from memory)"
            }
            Self::Zirconia => {
                "Callister, table B.6: zirconia with 3 mol% yttria 9.6; gauge-block handbook: 9.3 ± 0.7 (from memory)"
            }
            Self::Invar => "Callister, table B.6: Invar 1.6",
        }
    }
}
