"""Trends: is it changing, how fast, how surely."""

from fathomlight.trends.change import ChangePointResult, change_point
from fathomlight.trends.kendall import mann_kendall, theil_sen
from fathomlight.trends.results import KendallResult
from fathomlight.trends.seasonal import BlockedTrendResult, BlockTrend, SeasonalTrendResult, seasonal_kendall
from fathomlight.trends.words import direction_confidence, direction_words, likelihood

__all__ = [
    "BlockTrend",
    "BlockedTrendResult",
    "ChangePointResult",
    "KendallResult",
    "SeasonalTrendResult",
    "change_point",
    "direction_confidence",
    "direction_words",
    "likelihood",
    "mann_kendall",
    "seasonal_kendall",
    "theil_sen",
]
