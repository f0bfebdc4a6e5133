"""Stratification: density, thermocline, stability, and their course through the year."""

from fathomlight.indices.stratification.course import DaysStratifiedResult, days_stratified, isotherm_grid
from fathomlight.indices.stratification.density import DENSEST_DEGC, FORMULAS, water_density
from fathomlight.indices.stratification.profile import DatedProfile, profiles_from_readings, tidy_profile
from fathomlight.indices.stratification.stability import depth_area, schmidt_stability
from fathomlight.indices.stratification.thermocline import (
    ThermoclineResult,
    mixed_layer_temperature,
    thermocline,
)

__all__ = [
    "DENSEST_DEGC",
    "FORMULAS",
    "DatedProfile",
    "DaysStratifiedResult",
    "ThermoclineResult",
    "days_stratified",
    "depth_area",
    "isotherm_grid",
    "mixed_layer_temperature",
    "profiles_from_readings",
    "schmidt_stability",
    "thermocline",
    "tidy_profile",
    "water_density",
]
