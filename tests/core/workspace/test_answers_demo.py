"""The whole chain on the demo waters: the answers must find what was planted (data/planted.csv)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from fathomlight.errors import ArgumentError, ConfigError, NotFoundError
from fathomlight.workspace import Workspace, open_workspace

PLANTED = pd.read_csv(Path(__file__).parents[3] / "data" / "planted.csv")


@pytest.fixture(scope="module")
def ws(demo_workspace: Path) -> Iterator[Workspace]:
    with open_workspace(demo_workspace, read_only=True) as opened:
        yield opened


def _planted(kind: str, parameter: str = "secchi") -> list[tuple[str, float]]:
    rows = PLANTED[(PLANTED["kind"] == kind) & (PLANTED["parameter"] == parameter)]
    return [(r.station, float(r.value)) for r in rows.itertuples()]


@pytest.mark.parametrize(("station", "slope"), _planted("slope"))
def test_planted_slopes_are_recovered(ws: Workspace, station: str, slope: float) -> None:
    answer = ws.trend(station)
    assert answer.seasonal.slope_low <= slope <= answer.seasonal.slope_high
    assert answer.seasonal.slope * slope > 0
    assert answer.seasonal.p < 0.05
    assert answer.clarity == ("clearer" if slope > 0 else "murkier")


@pytest.mark.parametrize("station", [s for s, _ in _planted("none") if s != "TAN-3"])
def test_where_nothing_was_planted_nothing_is_sure(ws: Workspace, station: str) -> None:
    answer = ws.trend(station)
    assert answer.seasonal.slope_low <= 0 <= answer.seasonal.slope_high
    assert answer.seasonal.p > 0.05


def test_a_planted_step_is_called_a_step(ws: Workspace) -> None:
    ((station, size),) = _planted("step")
    answer = ws.trend(station)
    assert answer.change_point.time == 2014  # last year before the step
    assert answer.change_point.p < 0.01
    found = answer.change_point.median_after - answer.change_point.median_before
    assert found == pytest.approx(size, abs=0.25)
    assert any("step" in note for note in answer.notes)


def test_three_years_are_no_trend(ws: Workspace) -> None:
    answer = ws.trend("TAN-3")
    assert answer.clarity == "no direction"
    assert "too few" in answer.sentence


def test_the_window_is_respected(ws: Workspace) -> None:
    answer = ws.trend("VEL-1", start=2010, end=2019)
    assert (answer.first_year, answer.last_year) == (2010, 2019)
    assert answer.cells["year"].between(2010, 2019).all()
    with pytest.raises(ArgumentError, match="empty"):
        ws.trend("VEL-1", start=2019, end=2010)


def test_false_discoveries_are_controlled_over_the_network(ws: Workspace) -> None:
    table = ws.trends()
    assert len(table) == 14
    tested = table[table["n_years"] >= 5]
    assert set(table["station"]) - set(tested["station"]) == {"TAN-3"}
    assert (tested["p_adjusted"] >= tested["p"] - 1e-12).all()
    assert table.loc[table["n_years"] < 5, "p_adjusted"].isna().all()
    sure = set(table.loc[table["sure"], "station"])
    assert {"VEL-1", "VEL-2", "TAN-1", "TAN-2", "QUE-2", "PIN-3"} <= sure
    assert not sure & {"VEL-3", "PIN-1", "PIN-2", "QUE-1", "QUE-3", "RIV-2", "TAN-3"}


def test_network_kernel_gives_the_numbers_of_single_stations(ws: Workspace) -> None:
    network = ws.network_trends().set_index("station")
    for station in ("VEL-1", "PIN-1", "QUE-2"):
        single = ws.trend(station).seasonal
        row = network.loc[station]
        assert row["s"] == single.s
        for name in ("variance", "z", "p", "slope", "slope_low", "slope_high"):
            assert row[name] == pytest.approx(getattr(single, name), rel=1e-9), name


def test_turbidity_falls_where_it_was_planted(ws: Workspace) -> None:
    ((station, slope),) = _planted("slope", "turbidity_ntu")
    answer = ws.trend(station, "turbidity_ntu")
    assert answer.clarity == "clearer"
    assert slope < 0
    assert answer.seasonal.slope < 0


def test_every_standing_has_its_sentence(ws: Workspace) -> None:
    table = ws.standings().set_index("station")
    assert set(table["standing"]) <= {"clearer", "usual", "murkier", "too little past", "no recent reading"}
    assert table.loc["QUE-3", "standing"] == "no recent reading"
    assert table.loc["TAN-3", "standing"] == "too little past"
    assert table.loc["QUE-2", "standing"] == "murkier"
    assert table["sentence"].str.len().min() > 20


def test_trophic_state_is_never_averaged_over_inputs(ws: Workspace) -> None:
    answer = ws.trophic("QUE-2")
    assert set(answer.yearly["input"]) == {"secchi", "chlorophyll", "total_phosphorus"} | (
        {"total_nitrogen"} & set(answer.yearly["input"])
    )
    assert answer.latest["input"] == "chlorophyll"
    chances = answer.yearly[[c for c in answer.yearly.columns if c.startswith("p: ")]].sum(axis=1)
    decided = answer.yearly["bound"].eq("") & (answer.yearly["n"] > 1)
    assert chances[decided].to_numpy() == pytest.approx(1.0)
    assert "swim" in answer.caution


def test_habitat_has_an_interval_for_every_covered_year(ws: Workspace) -> None:
    answer = ws.habitat("vellumere")
    good = answer.yearly[answer.yearly["covered"]]
    assert len(good) >= 15
    assert (good["low"] <= good["area_ha"]).all()
    assert (good["area_ha"] <= good["high"]).all()
    with pytest.raises(NotFoundError, match="walleye"):
        ws.habitat("vellumere", "dragon")


def test_layers_of_the_deep_lake(ws: Workspace) -> None:
    grid = ws.stratification("VEL-1")
    depths = grid["thermocline_depth"].to_numpy()
    assert (depths > 0).any()
    assert math.isfinite(float(grid["schmidt_stability"].max()))


def test_walleye_catch_follows_the_planted_hump(ws: Workspace) -> None:
    effect = ws.clarity_effect("walleye", "gill net", window="growing season")
    assert effect.level == "model"
    assert effect.shape == "hump"
    assert effect.optimum is not None
    assert effect.optimum.low <= 2.0 <= effect.optimum.high
    assert any("associat" in s for s in effect.sentences)


def test_a_mistyped_name_gets_a_hint(ws: Workspace) -> None:
    with pytest.raises(NotFoundError, match="Did you mean VEL-1"):
        ws.trend("VEL-11")
    with pytest.raises(NotFoundError, match="secchi"):
        ws.trend("VEL-1", "sechi")
    assert ws.station("deep hole").id == "VEL-1"


def test_no_workspace_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="fathomlight init"):
        open_workspace(tmp_path)
