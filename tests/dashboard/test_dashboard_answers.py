"""The finer answers of the pages agree with what the workspace answers."""

from __future__ import annotations

from typing import Any


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
