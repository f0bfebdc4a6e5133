"""Tables of a parameter file: one to one, and errors that name the key."""

from __future__ import annotations

import tomllib

import pytest

import fathomlight.quality as quality
from fathomlight.errors import ConfigError
from fathomlight.quality import QualitySettings


def test_the_documented_table_is_valid():
    text = quality.__doc__.split("::\n")[1].split("\n\nA weekly")[0]
    table = tomllib.loads("\n".join(line[4:] for line in text.splitlines()))["temperature"]["quality"]
    settings = QualitySettings.from_table(table)
    assert settings.spike.rule == "two-difference"
    assert [window.months for window in settings.climatology.windows] == [(6,), (7,), (8,)]
    assert settings.attenuated.fail == 0.02


@pytest.mark.parametrize(
    ("table", "key", "word"),
    [
        ({"gros_range": {}}, "gros_range", "unknown key"),
        ({"gross_range": {}}, "gross_range.fail", "missing"),
        ({"gross_range": {"fail": [0, 40], "suspect": [-1, 20]}}, "gross_range", "inside the fail range"),
        ({"gross_range": {"fail": [40, 0]}}, "gross_range.fail", "lower limit first"),
        ({"gross_range": {"fail": [0]}}, "gross_range.fail.1", "missing"),
        ({"spike": {"low": 3, "high": 1}}, "spike", "high must not be below low"),
        ({"spike": {"rule": "median", "low": 3}}, "spike.rule", "neighbour-mean"),
        ({"spike": {"low": "many"}}, "spike.low", "number"),
        ({"flat_line": {"eps": 0.1, "suspect": 5, "fail": 3}}, "flat_line", "fail must not be smaller"),
        ({"climatology": {"summer": [0, 1]}}, "climatology", "'summer' is not a month"),
        (
            {"climatology": {"windows": [{"months": [13], "range": [0, 1]}]}},
            "climatology.windows.0.months.0",
            "12",
        ),
        ({"gap": {"hours": 0}}, "gap.hours", "greater than 0"),
        ({"neighbour": {}}, "", "rate_of_change"),
        ({"series": "buoy"}, "series", "logger"),
    ],
)
def test_errors_name_file_and_key(table, key, word):
    with pytest.raises(ConfigError) as caught:
        QualitySettings.from_table(table, where="parameters.toml: secchi.quality")
    assert caught.value.where == "parameters.toml: secchi.quality" + (f".{key}" if key else "")
    assert word in str(caught.value)


def test_several_errors_are_counted():
    with pytest.raises(ConfigError, match="1 more to correct"):
        QualitySettings.from_table({"gap": {"hours": -1}, "series": "buoy"})


def test_settings_are_frozen():
    settings = QualitySettings.from_table({"gap": {"hours": 1}})
    with pytest.raises(ValueError, match="frozen"):
        settings.gap.hours = 2
