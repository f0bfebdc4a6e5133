"""Results become pictures: every function returns a :class:`~fathomlight.figures.picture.Picture`.

A picture is a Plotly figure with one sentence that says what it shows, one smaller line with method,
number of readings and window, and a text for who cannot see it. Nothing here reads a file or opens a page.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fathomlight.on_demand import names_on_demand

if TYPE_CHECKING:
    from fathomlight.figures.boxes import season_boxes
    from fathomlight.figures.compare import stations_beside
    from fathomlight.figures.decimation import decimate
    from fathomlight.figures.episodes import episode_strip
    from fathomlight.figures.fish import catch_and_clarity, catch_by_year, lengths
    from fathomlight.figures.habitat import bands, habitat_by_year, sensitivity
    from fathomlight.figures.index import deviations, index_by_year
    from fathomlight.figures.layers import days_layered, light_depths, stability
    from fathomlight.figures.map import change_map, station_map
    from fathomlight.figures.picture import Picture
    from fathomlight.figures.profile import isotherms
    from fathomlight.figures.relation import clarity_relation
    from fathomlight.figures.replay import rule_by_year
    from fathomlight.figures.series import readings_series
    from fathomlight.figures.theme import DARK, LIGHT, LOOKS, Look
    from fathomlight.figures.trend import network_intervals, season_panels, trend_line, trend_sentence
    from fathomlight.figures.year_past import year_against_past
else:
    __getattr__ = names_on_demand(
        __name__,
        {
            "compare": ("stations_beside",),
            "decimation": ("decimate",),
            "episodes": ("episode_strip",),
            "fish": (
                "catch_and_clarity",
                "catch_by_year",
                "lengths",
            ),
            "habitat": (
                "bands",
                "habitat_by_year",
                "sensitivity",
            ),
            "index": (
                "deviations",
                "index_by_year",
            ),
            "layers": (
                "days_layered",
                "light_depths",
                "stability",
            ),
            "map": (
                "change_map",
                "station_map",
            ),
            "picture": ("Picture",),
            "profile": ("isotherms",),
            "relation": ("clarity_relation",),
            "replay": ("rule_by_year",),
            "boxes": ("season_boxes",),
            "series": ("readings_series",),
            "theme": (
                "DARK",
                "LIGHT",
                "LOOKS",
                "Look",
            ),
            "trend": (
                "network_intervals",
                "season_panels",
                "trend_line",
                "trend_sentence",
            ),
            "year_past": ("year_against_past",),
        },
    )

__all__ = [
    "DARK",
    "LIGHT",
    "LOOKS",
    "Look",
    "Picture",
    "bands",
    "catch_and_clarity",
    "catch_by_year",
    "change_map",
    "clarity_relation",
    "days_layered",
    "decimate",
    "deviations",
    "episode_strip",
    "habitat_by_year",
    "index_by_year",
    "isotherms",
    "lengths",
    "light_depths",
    "network_intervals",
    "readings_series",
    "rule_by_year",
    "season_boxes",
    "season_panels",
    "sensitivity",
    "stability",
    "station_map",
    "stations_beside",
    "trend_line",
    "trend_sentence",
    "year_against_past",
]
