"""Whole tables give what the single functions give, group by group."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.fish import condition_table, removal_estimate, removal_table, size_structure, size_table
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS

SURVEYS = pd.DataFrame(
    {
        "survey": ["a", "b", "c", "d"],
        "water": ["Mirror", "Mirror", "Slate", "Slate"],
        "gear": ["backpack electrofishing"] * 3 + ["gill net"],
        "start": pd.to_datetime(["2023-07-01", "2024-07-01", "2024-07-02", "2024-07-03"]),
    }
)


def catches(rows):
    frame = pd.DataFrame(rows, columns=["survey", "species", "count", "pass_number"])
    return frame.assign(mesh_mm=math.nan)[list(CATCH_COLUMNS)].astype(dict(CATCH_COLUMNS))


def fish(rows):
    frame = pd.DataFrame(rows, columns=["survey", "species", "length_mm", "weight_g"])
    frame = frame.assign(age_years=math.nan, pass_number=1, mesh_mm=math.nan)
    return frame[list(FISH_COLUMNS)].astype(dict(FISH_COLUMNS))


def test_removal_by_survey_with_absent_passes_as_zeros():
    rows = [("a", "walleye", 38, 1), ("a", "Walleye", 26, 2), ("a", "walleye", 12, 3)]
    rows += [
        ("b", "walleye", 9, 1),
        ("b", "perch", 5, 2),
        ("b", "perch", 4, 3),
    ]  # passes 2 and 3 caught no walleye
    rows += [("c", "walleye", 5, 1), ("c", "walleye", 7, 2), ("c", "walleye", 8, 3), ("d", "walleye", 4, 1)]
    table = removal_table(SURVEYS, catches(rows), "Sander vitreus").set_index("survey")
    assert table.index.tolist() == ["a", "b", "c"]  # d had one pass
    assert table.loc["a", "n"] == removal_estimate([38, 26, 12]).n
    assert table.loc["b", "counts"] == "9, 0, 0"
    assert table.loc["b", "n"] == 9
    assert math.isnan(table.loc["c", "n"])
    assert "do not deplete" in table.loc["c", "refused"]
    assert table.loc["c", "total"] == 20
    nobody = removal_table(SURVEYS, catches(rows), "sauger").set_index("survey")
    assert nobody["refused"].str.contains("no fish").all()


def test_sizes_by_gear_water_and_year():
    lengths = {"a": [260, 400], "c": [300, 520, 540, 650], "d": [390] * 3}
    rows = [(s, "walleye", float(v), math.nan) for s, values in lengths.items() for v in values]
    table = size_table(SURVEYS, fish([*rows, ("a", "perch", 200.0, 90.0)]), "walleye").set_index(
        ["gear", "water"]
    )
    assert table.loc[("backpack electrofishing", "Mirror"), "psd"] == 50
    slate = table.loc[("backpack electrofishing", "Slate")]
    assert slate["psd_p"] == 75
    assert slate["psd_p_low"] == pytest.approx(size_structure(lengths["c"], "walleye").psd_p_low)
    assert table.loc[("gill net", "Slate"), "psd"] == 100
    assert len(size_table(SURVEYS, fish(rows), "walleye", by=())) == 2  # gears stay apart
    with pytest.raises(ArgumentError, match="by"):
        size_table(SURVEYS, fish(rows), "walleye", by=["moon"])
    with pytest.raises(ArgumentError, match="fish"):
        size_table(SURVEYS, fish(rows).drop(columns="age_years"), "walleye")


def test_condition_by_category():
    """Weights planted at 80 and 120 % of the standard weight of walleye: mean 100, sd 28.28."""
    standard = 10 ** (-5.453 + 3.180 * np.log10(300.0))
    rows = [("a", "walleye", 300.0, 0.8 * standard), ("a", "walleye", 300.0, 1.2 * standard)]
    rows += [("a", "walleye", 100.0, 9.0), ("a", "walleye", 200.0, 70.0), ("a", "walleye", 500.0, math.nan)]
    table = condition_table(SURVEYS, fish(rows), "walleye").set_index("category")
    assert table.index.tolist() == ["below stock", "stock"]
    assert table.loc["stock", "n"] == 2
    assert table.loc["stock", "mean"] == pytest.approx(100)
    assert table.loc["stock", "sd"] == pytest.approx(math.sqrt(800))
    assert table.loc["stock", "high"] == pytest.approx(100 + 12.7062 * 20, rel=1e-4)  # t(1), 97.5 %
    assert table.loc["below stock", "n"] == 1  # the 100 mm fish lies outside the equation
    assert math.isnan(table.loc["below stock", "low"])
    with pytest.raises(ArgumentError, match="equation"):
        condition_table(SURVEYS, fish([("a", "sauger", 300.0, 200.0)]), "sauger")
