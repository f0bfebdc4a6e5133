"""Fish: catch, sizes, condition, growth, numbers, and what clarity has to do with the catch."""

from fathomlight.fish.catch import CatchPerEffort, catch_per_effort, catch_table, zero_filled
from fathomlight.fish.cautions import CAUTIONS, cautions
from fathomlight.fish.condition import (
    LengthWeight,
    length_weight_fit,
    relative_weight,
    standard_weight,
)
from fathomlight.fish.counts import CountFit, fit_counts
from fathomlight.fish.gears import EFFORT_UNITS, GEARS, Gear, effort_unit, gear_key
from fathomlight.fish.growth import Growth, von_bertalanffy
from fathomlight.fish.linkage import ClarityEffect, clarity_effect, clarity_effects
from fathomlight.fish.linkage_models import AlternativeFit, Check, Optimum, ShapeComparison
from fathomlight.fish.matching import (
    MATCH_COLUMNS,
    MatchResult,
    linkage_table,
    match_readings,
)
from fathomlight.fish.population import MarkRecapture, chapman, serns_density
from fathomlight.fish.removal import (
    RemovalResult,
    removal_estimate,
    removal_log_likelihood,
    zippin_probability,
    zippin_three_pass,
)
from fathomlight.fish.rows import RowCheck, check_catches, check_fish, check_surveys
from fathomlight.fish.sizes import SizeIndex, SizeStructure, length_frequency, size_structure
from fathomlight.fish.species import CATEGORIES, SPECIES, Species, StandardWeight, find_species, species_key
from fathomlight.fish.tables import condition_table, removal_table, size_table
from fathomlight.fish.windows import DEFAULT_WINDOWS, Window
from fathomlight.fish.yearly import YearlyIndex, yearly_index

__all__ = [
    "CATEGORIES",
    "CAUTIONS",
    "DEFAULT_WINDOWS",
    "EFFORT_UNITS",
    "GEARS",
    "MATCH_COLUMNS",
    "SPECIES",
    "AlternativeFit",
    "CatchPerEffort",
    "Check",
    "ClarityEffect",
    "CountFit",
    "Gear",
    "Growth",
    "LengthWeight",
    "MarkRecapture",
    "MatchResult",
    "Optimum",
    "RemovalResult",
    "RowCheck",
    "ShapeComparison",
    "SizeIndex",
    "SizeStructure",
    "Species",
    "StandardWeight",
    "Window",
    "YearlyIndex",
    "catch_per_effort",
    "catch_table",
    "cautions",
    "chapman",
    "check_catches",
    "check_fish",
    "check_surveys",
    "clarity_effect",
    "clarity_effects",
    "condition_table",
    "effort_unit",
    "find_species",
    "fit_counts",
    "gear_key",
    "length_frequency",
    "length_weight_fit",
    "linkage_table",
    "match_readings",
    "relative_weight",
    "removal_estimate",
    "removal_log_likelihood",
    "removal_table",
    "serns_density",
    "size_structure",
    "size_table",
    "species_key",
    "standard_weight",
    "von_bertalanffy",
    "yearly_index",
    "zero_filled",
    "zippin_probability",
    "zippin_three_pass",
]
