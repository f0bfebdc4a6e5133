"""Settings: what is in force in words; a change is checked, seen and saved; an earlier version comes back."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from fathomlight import open_workspace
from fathomlight.config import load_config
from fathomlight.workspace import Rights
from fathomlight_dashboard.page import discover
from fathomlight_dashboard.settings_words import rule_text

Open = Callable[..., AppTest]
Said = Callable[[AppTest], str]


def press(at: AppTest, label: str) -> AppTest:
    return next(b for b in at.button if b.label == label).click().run()


def edit(at: AppTest, old: str, new: str) -> AppTest:
    text = at.text_area[0].value
    assert old in text
    return at.text_area[0].set_value(text.replace(old, new)).run()


def test_what_is_in_force_is_said_in_words(demo: Any, open_page: Open, said: Said) -> None:
    at = open_page("settings")
    text = said(at)
    assert "5 waters, 14 stations, 10 rules that run; values are shown in metres and °C" in text
    assert "today is taken as 28 Sep 2025" in text
    assert "one person, who may do everything" in text
    tables = {t.value.columns[0]: t.value for t in at.dataframe}
    stations = tables["Station"]
    assert stations.set_index("Id").loc["VEL-2", "To be read"] == "every 10 days"
    assert (
        "**upper arm murky**: Disc depth (secchi) below 0.7 m in 2 readings in a row; over when above 0.9 m. "
        "*Quernholt upper arm; May to Oct; act*" in text
    )
    assert "No notice is sent" in text
    assert "below 2.3 ft" in said(open_page("settings", units="us"))


def test_every_kind_of_rule_has_words(demo: Any) -> None:
    from fathomlight.alerts import KINDS

    texts = {r.kind: rule_text(r, demo.parameters.get(r.parameter), "metric") for r in demo.rules}
    assert set(texts) == set(KINDS)
    for kind, text in texts.items():
        assert len(text) > 30, kind
        assert "None" not in text
        assert "nan" not in text


def test_a_change_is_checked_seen_and_saved(own: Any, open_page: Open, said: Said) -> None:
    at = open_page("settings", view="change", file="alerts.toml")
    assert "Change the text, then check it" in said(at)
    edit(at, "below = 0.7 ", "below = 0.8 ")
    assert "1 line put in, 1 line taken out" in said(at)
    assert "The rules run after the next load" in said(at)
    shown = at.code[0].value.splitlines()
    assert [line[:13] for line in shown if line.startswith(("-b", "+b"))] == [
        "-below = 0.7 ",
        "+below = 0.8 ",
    ]
    press(at, "Save alerts.toml")
    assert "Say why" in at.error[0].value
    assert load_config(own.root).rules[0].below == 0.7  # type: ignore[attr-defined]
    at.text_input[0].set_value("our own past says so")
    press(at, "Save alerts.toml")
    assert "alerts\\.toml is saved" in said(at) or "alerts.toml is saved" in said(at)
    assert load_config(own.root).rules[0].below == 0.8  # type: ignore[attr-defined]
    assert own.trail(action="settings").iloc[0]["why"] == "our own past says so"
    # the pages of this process have it at once
    assert "below 0.8 m" in said(open_page("settings"))


def test_a_mistake_is_told_with_place_and_remedy_and_cannot_be_saved(own: Any, open_page: Open) -> None:
    at = open_page("settings", view="change", file="alerts.toml")
    edit(at, 'stations = ["QUE-2"]', 'stations = ["QUE-9"]')
    told = at.error[0].value
    for word in ("Where:", "Found:", "Expected:", "QUE-9", "QUE-2"):
        assert word in told
    assert not [b for b in at.button if b.label.startswith("Save")]
    press(at, "Drop my changes")
    assert "QUE-9" not in at.text_area[0].value


def test_login_and_store_are_refused_with_the_way_to_change_them(own: Any, open_page: Open) -> None:
    at = open_page("settings", view="change", file="workspace.toml")
    edit(at, "[store]", '[login]\nenabled = true\nunknown = "reader"\n\n[store]')
    assert "locks everybody out" in at.error[0].value
    assert "on the server" in at.error[0].value
    assert not load_config(own.root).login.enabled


def test_a_text_on_disk_that_changed_meanwhile_is_not_written_over(
    own: Any, open_page: Open, said: Said
) -> None:
    at = open_page("settings", view="change", file="seasons.toml")
    edit(at, "min_years = 5", "min_years = 6")
    path = own.root / "config" / "seasons.toml"
    path.write_text(path.read_text("utf-8").replace("min_readings = 10", "min_readings = 12"), "utf-8")
    at.text_input[0].set_value("longer past")
    press(at, "Save seasons.toml")
    assert "was changed on disk since you opened it" in said(at)
    assert "min_years = 6" in at.text_area[0].value  # what was written is still there to copy
    assert "min_years = 5" in path.read_text("utf-8")
    press(at, "Open it again")
    assert "min_readings = 12" in at.text_area[0].value
    assert "min_years = 5" in at.text_area[0].value


def test_an_earlier_version_is_put_back(own: Any, open_page: Open, said: Said) -> None:
    assert "There is no earlier version of seasons.toml yet" in said(
        open_page("settings", view="earlier", file="seasons.toml")
    )
    found = own.settings_text("seasons.toml")
    own.save_settings(
        "seasons.toml", found.text.replace("min_years = 5", "min_years = 9"), "longer past", mark=found.mark
    )
    at = open_page("settings", view="earlier", file="seasons.toml")
    assert "longer past" in at.selectbox[1].options[0]
    assert "+min_years = 5" in at.code[0].value
    at.text_input[0].set_value("too strict")
    press(at, "Put this version back")
    said(at)
    assert own.settings_text("seasons.toml").text == found.text


def test_what_another_process_saved_is_in_force_at_the_next_click(
    own: Any, open_page: Open, said: Said
) -> None:
    at = open_page("settings")
    assert "below 0.7 m in 2 readings" in said(at)
    code = (
        "import sys; from fathomlight import open_workspace\n"
        "with open_workspace(sys.argv[1]) as ws:\n"
        "    found = ws.settings_text('alerts.toml')\n"
        "    text = found.text.replace('below = 0.7 ', 'below = 0.6 ')\n"
        "    ws.save_settings('alerts.toml', text, 'elsewhere', mark=found.mark)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(own.root)], check=True, timeout=60)
    assert "below 0.6 m in 2 readings" in said(at.run())


def test_a_file_that_holds_a_secret_is_not_shown(own: Any, open_page: Open, said: Said) -> None:
    path = own.root / "config" / "notices.toml"
    path.write_text(path.read_text("utf-8").replace("${FATHOMLIGHT_SMTP_PASSWORD}", "hunter2"), "utf-8")
    at = open_page("settings", view="change", file="notices.toml")
    assert "holds a password" in said(at)
    assert not at.text_area
    assert "hunter2" not in str(at.main)


def one_person(role: str, waters: tuple[str, ...] | None, view: str) -> None:
    """Run inside AppTest: the page as somebody with fewer rights would reach it."""
    from fathomlight.workspace import Rights
    from fathomlight_dashboard import data
    from fathomlight_dashboard.page import discover, show
    from fathomlight_dashboard.state import State

    rights = Rights(role, None if waters is None else frozenset(waters))  # type: ignore[arg-type]
    page = next(p for p in discover() if p.path == "settings")
    show(page, data.workspace().acting_as("p@lakes.example", rights), State())


@pytest.mark.parametrize("role", ["reader", "volunteer", "reviewer"])
def test_whoever_is_no_manager_sees_no_file(own: Any, said: Said, role: str) -> None:
    page = next(p for p in discover() if p.path == "settings")
    assert not page.needs(role)  # type: ignore[arg-type]
    at = AppTest.from_function(one_person, args=(role, None, "change"), default_timeout=60)
    at.query_params["view"] = "change"
    at.run()
    assert "This page takes the role manager or more" in said(at)
    assert not at.text_area
    assert "upper-arm-murky" not in str(at.main)


def test_a_manager_of_some_waters_is_told_why(own: Any, said: Said) -> None:
    at = AppTest.from_function(one_person, args=("manager", ("vellumere",), "change"), default_timeout=60)
    at.query_params["view"] = "change"
    at.run()
    assert "for some waters only" in said(at)
    assert not at.text_area


def test_roles_are_shown_when_people_log_in(
    own_workspace: Path, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    from fathomlight_dashboard import WORKSPACE_VARIABLE

    path = own_workspace / "config" / "workspace.toml"
    login = (
        '\n[login]\nenabled = true\npublic = "reader"\n[[login.person]]\nemail = "v@lakes.example"\n'
        'role = "volunteer"\nwaters = ["tannerook"]\n'
        '[[login.claim]]\nname = "groups"\nvalue = "crew"\nrole = "reviewer"\n'
    )
    path.write_text(path.read_text("utf-8") + login, "utf-8")
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(own_workspace))
    at = AppTest.from_function(one_person, args=("manager", None, "now"), default_timeout=60).run()
    said(at)
    rows = next(t.value for t in at.dataframe if "Role" in t.value).set_index("Who")
    assert tuple(rows.loc["v@lakes.example"]) == ("volunteer", "Tannerook Lake")
    assert tuple(rows.loc["everybody with groups = crew"]) == ("reviewer", "all")
    with open_workspace(own_workspace, rights=Rights("manager")) as ws:
        assert ws.config.login.enabled
