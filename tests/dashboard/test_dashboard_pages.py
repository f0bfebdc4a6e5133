"""What each page says agrees with what the workspace answers, and every page has words for having nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from streamlit.testing.v1 import AppTest

from fathomlight_dashboard import WORKSPACE_VARIABLE
from fathomlight_dashboard.page import discover

PATHS = [p.path for p in discover()]


def one_page(path: str) -> None:
    """Run inside AppTest: one page, as the menu would open it."""
    from fathomlight_dashboard import data
    from fathomlight_dashboard.page import discover, show
    from fathomlight_dashboard.state import State

    pages = {p.path: p for p in discover()}
    show(pages[path], data.workspace(), State())


def opened(path: str, **params: str) -> AppTest:
    at = AppTest.from_function(one_page, kwargs={"path": path}, default_timeout=120)
    for name, value in params.items():
        at.query_params[name] = value
    return at.run()


def words(at: AppTest) -> str:
    kinds = ("title", "header", "subheader", "markdown", "caption", "info", "warning", "error", "success")
    text = [e.value for kind in kinds for e in getattr(at, kind)]
    text += [e.proto.body for e in at.get("html")]
    return "\n".join(str(t) for t in text)


def sound(at: AppTest) -> str:
    assert not at.exception
    assert not at.error, [e.value for e in at.error]
    return words(at)


@pytest.mark.parametrize("path", PATHS)
def test_every_page_has_words_for_having_nothing(bare: Path, path: str) -> None:
    text = sound(opened(path))
    assert len(text) > 60


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("path", PATHS)
def test_every_page_draws(demo: Any, path: str, units: str) -> None:
    text = sound(opened(path, units=units))
    assert "Invented data" in text


def test_waters_counts_what_the_workspace_answers(demo: Any) -> None:
    text = sound(opened("waters"))
    counts = demo.standings("secchi")["standing"].value_counts()
    n = {k: int(counts.get(k, 0)) for k in ("clearer", "usual", "murkier")}
    assert f"Of {sum(n.values())} stations that can be compared, {n['murkier']} murkier" in text
    assert "not safe water" in text


def test_waters_lists_every_station(demo: Any) -> None:
    at = opened("waters")
    assert set(at.dataframe[0].value["Station"]) == {s.name for s in demo.stations.values()}


def test_station_says_its_standing_in_the_chosen_units(demo: Any) -> None:
    station = next(s for s in demo.stations if demo.standing(s).value == demo.standing(s).value)
    answer = demo.standing(station)
    assert answer.sentence in sound(opened("station", station=station))
    feet = answer.value / 0.3048
    assert f"{feet:.1f} ft on" in sound(opened("station", station=station, units="us"))


def test_station_tables_keep_what_was_written(demo: Any) -> None:
    station = "PIN-1"
    at = opened("station", station=station, view="readings")
    table = at.dataframe[0].value
    series = demo.series(station, "secchi")
    assert len(table) == len(series)
    assert set(table["Qualifier"]) == set(series["qualifier"])
    assert ">" in set(table["Qualifier"])  # the disc is often seen on the bottom here


def test_a_period_in_the_link_narrows_the_readings(demo: Any) -> None:
    at = opened("station", station="VEL-1", view="readings", **{"from": "2020-01-01", "to": "2020-12-31"})
    dates = at.dataframe[0].value["Date"]
    assert {d.year for d in dates} == {2020}


def test_change_of_the_network_agrees(demo: Any) -> None:
    text = sound(opened("change"))
    told = demo.trends("secchi").dropna(subset=["p"]).query("n_years >= 5")
    sure = told[told["p_adjusted"] < 0.05]
    murkier = int((sure["clarity"] == "murkier").sum())
    assert f"Of {len(told)} stations with enough years, {murkier} are getting murkier" in text


def test_change_of_one_station_agrees(demo: Any) -> None:
    text = sound(opened("change", scope="one", station="TAN-1"))
    answer = demo.trend("TAN-1")
    assert f"{10 * answer.seasonal.slope:+.2f} m a decade" in text
    for note in answer.notes:
        assert note.split(" ")[0] in text


def test_attention_lists_open_episodes_and_marks_them_seen(own: Any) -> None:
    own.evaluate_alerts()
    table = own.episodes()
    n_open = int((table["state"] == "open").sum())
    assert n_open > 0
    at = opened("attention")
    text = sound(at)
    assert f"{n_open} open episode" in text
    key = table.loc[table["state"] == "open", "key"].iloc[0]
    at.text_input(key=f"note {key}").set_value("looked at from the boat")
    at.button(key=f"seen {key}").click().run()
    sound(at)
    assert own.episode(key).state == "seen"
    assert own.episode(key).seen_note == "looked at from the boat"


def test_rules_can_be_run_again_without_change(own: Any) -> None:
    own.evaluate_alerts()
    at = opened("attention")
    next(b for b in at.button if b.label == "Run the rules now").click().run()
    assert "nothing has changed" in sound(at)


def test_a_visit_is_checked_then_saved(own: Any) -> None:
    at = opened("add", way="visit", station="PIN-1")
    at.date_input[0].set_value(own.as_of)
    at.number_input[0].set_value(1.75)
    at.checkbox[0].check()
    next(b for b in at.button if b.label == "Check this visit").click().run()
    text = sound(at)
    assert "> 1.8 m" in text or "> 1.7 m" in text
    before = len(own.series("PIN-1"))
    next(b for b in at.button if b.label == "Save this visit").click().run()
    assert "Saved as batch" in sound(at)
    rows = own.series("PIN-1")
    assert len(rows) == before + 1
    last = rows.sort_values("batch").iloc[-1]
    assert (last["value"], last["qualifier"], str(last["local_date"].date())) == (
        1.75,
        ">",
        own.as_of.isoformat(),
    )


def test_a_visit_in_feet_keeps_what_was_written(own: Any) -> None:
    at = opened("add", way="visit", station="VEL-1", units="us")
    at.date_input[0].set_value(own.as_of)
    at.number_input[0].set_value(10.0)
    next(b for b in at.button if b.label == "Check this visit").click().run()
    next(b for b in at.button if b.label == "Save this visit").click().run()
    sound(at)
    last = own.series("VEL-1").sort_values("batch").iloc[-1]
    assert last["value"] == pytest.approx(3.048)
    assert (last["original_value"], last["original_unit"]) == ("10.0 ft", "ft")


def test_a_visit_without_date_or_value_is_asked_for_them(demo: Any) -> None:
    at = opened("add", way="visit")
    next(b for b in at.button if b.label == "Check this visit").click().run()
    assert "Choose the date" in at.error[0].value
    at.date_input[0].set_value(demo.as_of)
    next(b for b in at.button if b.label == "Check this visit").click().run()
    assert "fill in at least one value" in at.error[0].value


def test_an_impossible_visit_is_refused_with_reason(demo: Any) -> None:
    at = opened("add", way="visit", station="VEL-1")
    at.date_input[0].set_value(demo.as_of)
    at.number_input[0].set_value(400.0)
    next(b for b in at.button if b.label == "Check this visit").click().run()
    assert "Refused" in sound(at)
    assert not [b for b in at.button if b.label == "Save this visit"]


def test_a_file_is_checked_loaded_and_then_known(own: Any, root: Path) -> None:
    content = (root / "data" / "hold_back" / "good_week.csv").read_bytes()
    at = opened("add", way="file")
    at.file_uploader[0].upload("good_week.csv", content, "text/csv").run()
    text = sound(at)
    assert "would be new" in text
    n = own.status().n_readings
    next(b for b in at.button if b.label == "Load these readings").click().run()
    assert "Batch" in sound(at)
    assert own.status().n_readings > n
    assert "good_week.csv" in own.batches()["file"].tolist()


def test_a_bad_file_lists_its_rows(demo: Any, root: Path) -> None:
    content = (root / "data" / "hold_back" / "bad_week.csv").read_bytes()
    at = opened("add", way="file")
    at.file_uploader[0].upload("bad_week.csv", content, "text/csv").run()
    assert "Refused" in sound(at)
    table = at.dataframe[0].value
    assert {"Line", "Why it is refused", "What to do"} <= set(table.columns)
    assert (table["What to do"].str.len() > 5).all()


def test_suspect_readings_are_all_there(demo: Any) -> None:
    at = opened("check")
    rows = demo.readings(flags=(3, 4))
    n = (rows["flag"] == 3).sum()
    assert f"{n} reading" in sound(at)


def test_a_refused_row_is_corrected_on_the_page(own: Any) -> None:
    rows = own.refused()
    chosen = rows[rows["reason"].str.contains("future")].iloc[0]  # the year 2081 of the volunteers' cards
    place = int(rows.index[rows["line"].eq(chosen["line"]) & rows["batch"].eq(chosen["batch"])][0])
    at = opened("check", view="refused")
    with patch("fathomlight_dashboard.views.check_readings.widgets.table") as table:
        table.return_value = {"selection": {"rows": [place]}}
        at.run()
        date = next(t for t in at.text_input if t.label == "Date")
        date.set_value(date.value.replace("2081", "2018"))
        next(b for b in at.button if b.label == "Try this row again").click().run()
    assert "is stored as batch" in sound(at)
    assert len(own.refused()) == len(rows) - 1  # put right, it waits no longer


def test_a_batch_is_withdrawn_and_put_back(own: Any) -> None:
    at = opened("check", view="batches")
    table = own.batches()
    batch = int(table.loc[table["kind"].isin(["readings"]), "batch"].max())
    at.selectbox[0].set_value(batch).run()
    n = own.status().n_readings
    at.text_input(key="why change the batch").set_value("wrong lake").run()
    next(b for b in at.button if b.label == f"Withdraw batch {batch}").click().run()
    assert "is withdrawn" in sound(at)
    assert own.status().n_readings < n
    at.text_input(key="why change the batch").set_value("right after all").run()
    next(b for b in at.button if b.label == f"Put back batch {batch}").click().run()
    sound(at)
    assert own.status().n_readings == n


def test_fish_says_association_and_cautions(demo: Any) -> None:
    text = sound(opened("fish"))
    effect = demo.clarity_effect("walleye", "gill net", window=demo.windows()[0])
    assert f"n = {effect.rank_n} surveys" in text
    assert "association" in text
    assert "life jacket" in text


def test_methods_name_their_sources(demo: Any) -> None:
    from fathomlight_dashboard.methods_text import GROUPS

    for group in GROUPS:
        text = sound(opened("methods", about=group.key))
        for method in group.methods:
            assert method.title in text
            assert method.source
            assert method.limits
    assert sum(len(g.methods) for g in GROUPS) >= 15
    assert "not safe water" in sound(opened("methods", about="cautions"))


def test_a_folder_without_settings_is_welcomed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from fathomlight_dashboard import APP

    monkeypatch.setenv(WORKSPACE_VARIABLE, str(tmp_path))
    at = AppTest.from_file(str(APP), default_timeout=60).run()
    assert not at.exception
    text = words(at)
    assert "Welcome" in text
    assert "What to do" in text or "Two ways to begin" in text


def test_a_workspace_with_a_slip_is_not_welcomed_but_says_where(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fathomlight_dashboard import APP

    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "workspace.toml").write_text('[workspace]\nname = "Ours"\nunits = "furlongs"\n')
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(tmp_path))
    at = AppTest.from_file(str(APP), default_timeout=60).run()
    assert not at.exception
    text = words(at)
    assert "The workspace cannot be opened" in text
    assert "Welcome" not in text
    assert "workspace.toml" in text
    assert "furlongs" in text


def test_the_whole_app_runs(demo: Any) -> None:
    from fathomlight_dashboard import APP

    at = AppTest.from_file(str(APP), default_timeout=120).run()
    assert not at.exception
    assert at.title[0].value == "Waters"
