"""Habitat of sight-feeding fish: lake bed with the light and the temperature they do well in."""

from fathomlight.indices.habitat.band import (
    OpticalDepthBand,
    light_band_through_day,
    optical_depth_band,
    thermal_depth_spans,
)
from fathomlight.indices.habitat.bed import band_area
from fathomlight.indices.habitat.course import HabitatResult, thermal_optical_area
from fathomlight.indices.habitat.inputs import HabitatInputs
from fathomlight.indices.habitat.sensitivity import HabitatSensitivityResult, habitat_sensitivity
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.habitat.uncertainty import CLEAREST_M, HabitatUncertaintyResult, habitat_uncertainty

__all__ = [
    "CLEAREST_M",
    "WALLEYE",
    "HabitatInputs",
    "HabitatResult",
    "HabitatSensitivityResult",
    "HabitatUncertaintyResult",
    "OpticalDepthBand",
    "Species",
    "band_area",
    "habitat_sensitivity",
    "habitat_uncertainty",
    "light_band_through_day",
    "optical_depth_band",
    "thermal_depth_spans",
    "thermal_optical_area",
]
