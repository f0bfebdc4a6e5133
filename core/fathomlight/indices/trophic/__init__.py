"""Trophic state: how rich in nutrients and algae a water is."""

from fathomlight.indices.trophic.carlson import (
    TSI_BY_PARAMETER,
    tsi_chlorophyll,
    tsi_nitrogen,
    tsi_phosphorus,
    tsi_secchi,
)
from fathomlight.indices.trophic.classes import (
    CARLSON_BANDS,
    CARLSON_CLASSES,
    CLASS_TABLES,
    NATIONAL_SURVEY_CLASSES,
    NURNBERG_CLASSES,
    OECD_CLASSES,
    TROPHIC_LEVEL_CLASSES,
    CarlsonBand,
    ClassLimits,
    ClassTable,
    carlson_band,
    carlson_class,
    national_survey_class,
    nurnberg_class,
    oecd_class,
)
from fathomlight.indices.trophic.deviations import DeviationsResult, carlson_deviations
from fathomlight.indices.trophic.level import LEVEL_LIMITS, TrophicLevelResult, trophic_level

__all__ = [
    "CARLSON_BANDS",
    "CARLSON_CLASSES",
    "CLASS_TABLES",
    "LEVEL_LIMITS",
    "NATIONAL_SURVEY_CLASSES",
    "NURNBERG_CLASSES",
    "OECD_CLASSES",
    "TROPHIC_LEVEL_CLASSES",
    "TSI_BY_PARAMETER",
    "CarlsonBand",
    "ClassLimits",
    "ClassTable",
    "DeviationsResult",
    "TrophicLevelResult",
    "carlson_band",
    "carlson_class",
    "carlson_deviations",
    "national_survey_class",
    "nurnberg_class",
    "oecd_class",
    "trophic_level",
    "tsi_chlorophyll",
    "tsi_nitrogen",
    "tsi_phosphorus",
    "tsi_secchi",
]
