"""A manager changes a rule in the browser, sees it in force on another page, and puts the earlier version back."""

from __future__ import annotations

import re
import urllib.request
from typing import Any

import pytest

pytestmark = pytest.mark.browser

FILE = "alerts.toml"


def write(desk: Any, text: str) -> None:
    """Write a text as a person does: the field takes it when it is left."""
    field = desk.tab.get_by_label(f"Text of {FILE}", exact=True)
    field.fill(text)
    desk.tab.get_by_role("button", name="Check this text").click()
    desk.tab.wait_for_timeout(600)
    desk.settle()


def test_a_rule_is_changed_seen_and_put_back(desk: Any) -> None:
    path = desk.server.workspace / "config" / FILE
    before = path.read_text("utf-8")
    tab = desk.open("settings")
    assert "below 0.7 m in 2 readings in a row" in tab.inner_text("[data-testid=stMain]")
    tab.get_by_role("button", name=f"Change {FILE}").click()
    tab.wait_for_function("() => location.search.includes('view=change')", timeout=30_000)
    desk.settle()
    assert tab.get_by_label(f"Text of {FILE}", exact=True).input_value() == before

    write(desk, before.replace('stations = ["QUE-2"]', 'stations = ["QUE-9"]'))
    assert "unknown name" in tab.inner_text("[data-testid=stMain]")
    assert tab.get_by_role("button", name=f"Save {FILE}").count() == 0
    assert path.read_text("utf-8") == before

    changed = before.replace("below = 0.7 ", "below = 0.8 ")
    write(desk, changed)
    assert "1 line put in, 1 line taken out" in tab.inner_text("[data-testid=stMain]")
    # what was written stays while the reader looks at another page
    tab.get_by_role("link", name="Methods", exact=True).first.click()
    tab.wait_for_function("() => document.querySelector('h1')?.innerText === 'Methods'", timeout=30_000)
    desk.settle()
    tab.go_back()
    tab.wait_for_function("() => document.querySelector('h1')?.innerText === 'Settings'", timeout=30_000)
    desk.settle()
    assert tab.get_by_label(f"Text of {FILE}", exact=True).input_value() == changed
    desk.shoot("desk-settings-changed")

    tab.get_by_label("Why", exact=True).fill("our own past says so")
    tab.get_by_role("button", name=f"Save {FILE}").click()
    tab.get_by_text("is saved").first.wait_for(timeout=30_000)
    desk.settle()
    assert path.read_text("utf-8") == changed
    desk.open("settings")
    assert "below 0.8 m in 2 readings in a row" in tab.inner_text("[data-testid=stMain]")
    with urllib.request.urlopen(f"{desk.server.url}/health", timeout=20) as answer:
        assert answer.status == 200

    desk.open("settings", view="earlier", file=FILE)
    tab.get_by_label("Why", exact=True).fill("too many episodes")
    tab.get_by_role("button", name=re.compile("Put this version back")).click()
    tab.get_by_text("is saved").first.wait_for(timeout=30_000)
    desk.settle()
    assert path.read_text("utf-8") == before

    desk.open("trail", deed="settings")
    assert "2 entries" in tab.inner_text("[data-testid=stMain]")
    with tab.expect_download() as got:
        tab.get_by_role("button", name=re.compile("Download this table")).click()
    rows = got.value.path().read_text("utf-8-sig").splitlines()
    assert got.value.suggested_filename == "who-did-what.csv"
    assert "too many episodes" in rows[1]
    assert "our own past says so" in rows[2]
