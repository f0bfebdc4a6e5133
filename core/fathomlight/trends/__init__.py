"""Trends: is it changing, how fast, how surely.

One test per file; every one takes arrays and qualifiers and returns a frozen result that says its method and
what a careful reader must know. Compiled code is loaded only when a series is long or a network is asked for.
"""

from fathomlight.trends.blocked import BlockedTrendResult, BlockTrend
from fathomlight.trends.censoring import recensor
from fathomlight.trends.change import ChangePointResult, change_point
from fathomlight.trends.detectable import DetectableResult, NoiseResult, detectable_trend, station_noise
from fathomlight.trends.discovery import false_discovery, with_false_discovery
from fathomlight.trends.homogeneous import HomogeneityResult, homogeneity
from fathomlight.trends.kendall import mann_kendall, theil_sen
from fathomlight.trends.network import network_trends, seasonal_kendall_kernel
from fathomlight.trends.partial import PartialTrendResult, partial_mann_kendall
from fathomlight.trends.regional import RegionalTrendResult, regional_kendall
from fathomlight.trends.results import KendallResult
from fathomlight.trends.seasonal import SeasonalTrendResult, seasonal_kendall
from fathomlight.trends.smooth import SmoothResult, smooth_deseasoned
from fathomlight.trends.step import StepResult, seasonal_step
from fathomlight.trends.words import direction_confidence, direction_words
from fathomlight.words import likelihood

__all__ = [
    "BlockTrend",
    "BlockedTrendResult",
    "ChangePointResult",
    "DetectableResult",
    "HomogeneityResult",
    "KendallResult",
    "NoiseResult",
    "PartialTrendResult",
    "RegionalTrendResult",
    "SeasonalTrendResult",
    "SmoothResult",
    "StepResult",
    "change_point",
    "detectable_trend",
    "direction_confidence",
    "direction_words",
    "false_discovery",
    "homogeneity",
    "likelihood",
    "mann_kendall",
    "network_trends",
    "partial_mann_kendall",
    "recensor",
    "regional_kendall",
    "seasonal_kendall",
    "seasonal_kendall_kernel",
    "seasonal_step",
    "smooth_deseasoned",
    "station_noise",
    "theil_sen",
    "with_false_discovery",
]
