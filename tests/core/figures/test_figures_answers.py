"""Pictures of rules tried, of change on the map, of light, layers and relations."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight import figures
from fathomlight.figures import LIGHT
from fathomlight.indices.clarity import fit_clarity_relation
from fathomlight.model import Parameter

SECCHI = Parameter("secchi", "Disc depth", "m", clearer="higher")
TURBIDITY = Parameter("turbidity_ntu", "Turbidity", "NTU", clearer="lower")


def named(picture: figures.Picture, name: str) -> object:
    return next(t for t in picture.figure.data if t.name == name)


def test_a_rule_tried_is_violet_and_counts_the_years() -> None:
    picture = figures.rule_by_year({2021: 1, 2022: 0, 2023: 1})
    bars = picture.figure.data[0]
    assert bars.marker.color == LIGHT.attention
    assert list(bars.y) == [1, 0, 1]
    assert picture.caption == "Opened 2 times in 3 years, most often in 2021 and 2023 (1 each)."


def test_a_rule_that_never_fires_is_said_in_words() -> None:
    picture = figures.rule_by_year({2021: 0})
    assert not picture.figure.data
    assert "not have asked" in picture.figure.layout.annotations[0].text


def network() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "station": list("ABCD"),
            "name": ["One", "Two", "Three", "Four"],
            "latitude": [46.0, 46.1, 46.2, 46.3],
            "longitude": [-91.0, -91.1, -91.2, -91.3],
            "clarity": ["clearer", "murkier", "clearer", "murkier"],
            "p_adjusted": [0.01, 0.02, 0.3, 0.001],
            "n_years": [20, 20, 20, 3],
            "sentence": ["", "", "", ""],
        }
    )


def test_the_map_of_change_has_the_shapes_of_the_ranked_picture() -> None:
    picture = figures.change_map(network())
    marks = {
        t.name: (t.marker.symbol, list(t.customdata)) for t in picture.figure.data if t.customdata is not None
    }
    assert marks == {
        "getting clearer (1)": ("triangle-up", ["A"]),
        "getting murkier (1)": ("triangle-down", ["B"]),
        "no direction certain (1)": ("circle-open", ["C"]),
        "too few years (1)": ("x-thin", ["D"]),  # however small its p
    }


def test_light_hangs_from_the_surface_and_bounds_are_open() -> None:
    table = pd.DataFrame(
        {
            "local_date": pd.to_datetime(["2025-06-01", "2025-07-01"]),
            "euphotic_m": [3.048, 6.096],
            "qualifier": ["=", ">"],
        }
    )
    picture = figures.light_depths(table, k=1.7, units="us")
    assert list(named(picture, "1 % light").y) == pytest.approx([10.0])  # 1 ft = 0.3048 m
    assert list(named(picture, "at least so deep").y) == pytest.approx([20.0])
    top, bottom = picture.figure.layout.yaxis.range
    assert top > bottom == 0
    assert "at least 20.0 ft" in picture.caption


def test_days_counted_in_part_are_told_as_at_least() -> None:
    table = pd.DataFrame(
        {
            "year": [2023, 2024],
            "days": [100, 120],
            "open_start": [False, True],
            "open_end": False,
            "profiles": 5,
        }
    )
    picture = figures.days_layered(table)
    assert list(named(picture, "whole season seen").x) == [2023]
    assert list(named(picture, "at least").x) == [2024]
    assert all(t.width == 0.8 for t in picture.figure.data)  # however far apart the years of a kind
    assert picture.caption == "Warm water lay on cold for at least 100 to 120 days a year."


def test_stability_leaves_out_what_is_not_known() -> None:
    times = np.array(["2025-06-01", "2025-07-01", "2025-08-01"], dtype="datetime64[s]")
    picture = figures.stability(times, [10.0, np.nan, 1234.0])
    assert list(picture.figure.data[0].y) == [10.0, 1234.0]
    assert "1 Aug 2025" in picture.caption
    assert "1,234 J" in picture.caption


def test_a_relation_has_a_band_and_a_refused_one_has_no_line() -> None:
    disc = np.geomspace(0.4, 4.0, 12)
    wobble = np.where(np.arange(12) % 2, 1.1, 1 / 1.1)
    pairs = pd.DataFrame({"x": disc, "y": 8 / disc * wobble, "used": True})
    good = fit_clarity_relation(pairs["x"], pairs["y"])
    picture = figures.clarity_relation(pairs, good, SECCHI, TURBIDITY, units="us")
    line = named(picture, "fitted line (median)")
    assert line.x[0] == pytest.approx(0.4 / 0.3048)
    assert line.y[0] == pytest.approx(10**good.intercept * 0.4**good.slope)
    assert picture.figure.layout.xaxis.type == picture.figure.layout.yaxis.type == "log"
    short = fit_clarity_relation(pairs["x"][:3], pairs["y"][:3])
    names = [t.name for t in figures.clarity_relation(pairs[:3], short, SECCHI, TURBIDITY).figure.data]
    assert names == ["both read on one day"]


def test_the_smooth_line_is_thin_and_for_the_eye() -> None:
    from fathomlight.trends import mann_kendall

    years = np.arange(2010, 2020)
    values = pd.DataFrame({"year": years + 0.5, "value": np.linspace(2, 3, 10), "qualifier": "="})
    answer = mann_kendall(values["value"], years)
    line = pd.DataFrame({"year": years, "line": 2.0, "low": 1.9, "high": 2.1})
    smooth = pd.DataFrame({"year": years + 0.5, "smooth": 0.3048})
    drawn = figures.trend_line(values, line, answer, SECCHI, smooth=smooth, units="us")
    curve = named(drawn, "smooth line, for the eye")
    assert list(curve.y) == pytest.approx([1.0] * 10)
    assert curve.line.width < 2
