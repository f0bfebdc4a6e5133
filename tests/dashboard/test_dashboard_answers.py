"""The finer answers of the pages agree with what the workspace answers."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest


def button(at: Any, label: str) -> Any:
    return next(b for b in at.button if b.label == label)


def test_a_rule_can_be_tried_on_the_past(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention")
    assert "try picture" not in str(at.get("plotly_chart"))
    at.selectbox(key="choice of try").set_value("murky-for-the-season").run()
    answer = demo.try_rule("murky-for-the-season", f"{demo.as_of.year - 5}-01-01")
    assert answer.fired > 1
    text = said(at)
    assert f"would have asked for attention {answer.fired} times" in text
    assert f"at {len(answer.per_station)} stations" in text
    real = [e for e in answer.episodes if e.aspect != "check"]
    assert len(at.dataframe[-1].value) == len(real)
    at = open_page("attention", **{"try": "murky-for-the-season", "since": "2012-01-01"})
    earlier = demo.try_rule("murky-for-the-season", "2012-01-01")
    assert earlier.fired > answer.fired
    assert f"{earlier.fired} times" in said(at)


def test_keys_of_the_configuration_are_put_in_words(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention", span="all", **{"try": "trophic-class-changed"})
    text = said(at) + "".join(frame.value.to_string() for frame in at.dataframe)
    assert "tsi_" not in text
    assert "index from disc depth" in text


def test_a_date_to_come_is_not_tried(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention", **{"try": "river-storm", "since": "2099-01-01"})
    assert "Choose a date before" in said(at)


def few_and_enough(demo: Any) -> tuple[pd.DataFrame, pd.DataFrame]:
    table = demo.trends("secchi")
    enough = table["p"].notna() & (table["n_years"] >= 5)
    return table[~enough], table[enough]


def test_short_records_are_named_and_left_out(demo: Any, open_page: Any, said: Any) -> None:
    few, enough = few_and_enough(demo)
    assert len(few)
    assert len(enough)
    at = open_page("change")
    text = said(at)
    assert f"Of {len(enough)} stations with enough years" in text
    assert f"{len(enough)} stations with enough years:" in text  # under the ranked picture
    for row in few.itertuples():
        assert f"{row.name} ({row.n_years} years)" in text
    table = at.dataframe[-1].value.set_index("Station")
    assert (table.loc[few["name"], "Direction"] == "too few years").all()
    assert "1 too few years" in text  # on the map


def test_the_map_of_change_counts_as_the_sentence_does(demo: Any, open_page: Any, said: Any) -> None:
    _, enough = few_and_enough(demo)
    sure = enough[enough["p_adjusted"] < 0.05]
    counts = sure["clarity"].value_counts()
    text = said(open_page("change"))
    assert f"{counts['clearer']} getting clearer, {counts['murkier']} getting murkier" in text


def test_a_short_record_has_no_direction(demo: Any, open_page: Any, said: Any) -> None:
    few, _ = few_and_enough(demo)
    text = said(open_page("change", scope="one", station=few["station"].iloc[0]))
    assert "too few to speak of a trend" in text
    assert "likely" not in text
    assert "detectable" not in text


@pytest.mark.parametrize(("units", "factor", "unit"), [("metric", 1.0, "m"), ("us", 1 / 0.3048, "ft")])
def test_what_would_be_detectable(
    demo: Any, open_page: Any, said: Any, units: str, factor: float, unit: str
) -> None:
    at = open_page("change", scope="one", station="TAN-1", units=units)
    assert "of sampling would find" not in said(at)  # only when asked for
    at.toggle(key="choice of detect").set_value(True).run()
    answer = demo.detectable("TAN-1", "secchi", within_years=10)
    text = said(at)
    assert f"a change of {10 * answer.slope * factor:.2f} {unit} a decade or more" in text
    assert f"needs {answer.years_needed} years" in text
    rows = at.dataframe[-1].value.set_index("What")["Value"]
    assert rows["Noise (standard deviation)"] == f"{answer.noise_sd * factor:.2f} {unit}"


def test_the_smooth_line_is_drawn_only_when_asked_for(demo: Any, open_page: Any, said: Any) -> None:
    def drawn(at: Any) -> str:
        said(at)
        return "".join(c.proto.spec for c in at.get("plotly_chart"))

    assert "for the eye" not in drawn(open_page("change", scope="one", station="TAN-1"))
    assert "for the eye" in drawn(open_page("change", scope="one", station="TAN-1", smooth="yes"))
