"""Two dashboards on one PostgreSQL behind nginx, driven by two readers in a real browser."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
import re
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.database]

ROWS = 12_000


def _script() -> Any:
    name = "run_two_processes"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture
def two(tmp_path: Path, browser: Any) -> Iterator[Any]:
    """Start everything; end everything."""
    script = _script()
    if why := script.missing():
        pytest.skip(why)
    with script.TwoProcesses(tmp_path) as running:
        yield running


def settle(tab: Any) -> None:
    tab.wait_for_selector("h1", timeout=60_000)
    tab.wait_for_function(
        "() => { const a = document.querySelector('[data-testid=stApp]');"
        " return a && a.getAttribute('data-test-script-state') === 'notRunning'"
        " && !document.querySelector('[data-testid=stSpinner], [data-testid=stSkeleton]'); }",
        timeout=60_000,
    )
    tab.wait_for_timeout(300)


def reader(browser: Any, two: Any, process: str) -> Any:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.add_cookies([{"name": "fathomlight_process", "value": process, "url": two.url}])
    return context.new_page()


def upload(tab: Any, two: Any, name: str, content: bytes, recipe: str = "") -> None:
    tab.goto(f"{two.url}/add?way=file")
    settle(tab)
    if recipe:
        box = tab.get_by_role("combobox", name="Recipe")
        box.click()
        box.fill(recipe)
        tab.get_by_role("option").first.click()
        settle(tab)
    tab.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": content}
    )
    tab.get_by_role("button", name=re.compile("Load these")).wait_for(timeout=60_000)
    settle(tab)


def logger_file(rows: int) -> bytes:
    begin = dt.datetime(2025, 4, 1)
    lines = ["Time (UTC),Turbidity (FNU),Water temperature (degC),Battery (V)"]
    for i in range(rows):
        time = begin + dt.timedelta(minutes=15 * i)
        lines.append(f"{time.isoformat()},{5 + i % 7 / 10:.1f},{12 + i % 11 / 10:.1f},3.6")
    return ("\n".join(lines) + "\n").encode()


def test_two_processes_are_one_dashboard(two: Any, browser: Any) -> None:
    from fathomlight import open_workspace

    one, other = reader(browser, two, "one"), reader(browser, two, "two")
    other.goto(f"{two.url}/check?view=batches")
    settle(other)
    assert "Nothing has been loaded yet." in other.inner_text("[data-testid=stMain]")

    # what is uploaded in one is seen in the other at the next interaction
    content = (two.workspace / "data" / "hold_back" / "good_week.csv").read_bytes()
    upload(one, two, "good_week.csv", content)
    one.get_by_role("button", name=re.compile("Load these")).click()
    one.get_by_text(re.compile(r"Batch \d+:")).wait_for(timeout=60_000)
    other.get_by_text("ft, °F").first.click()
    other.get_by_text("1 batch in force").wait_for(timeout=30_000)
    assert two.health("one")[1] == two.health("two")[1]

    # asked to end in the middle of a load, a process ends the load first, and then itself
    upload(one, two, "logger.csv", logger_file(ROWS), "demo-logger")
    one.get_by_role("button", name=re.compile("Load these")).click()
    one.get_by_text("Loading …").first.wait_for(timeout=20_000)
    took: list[float] = []
    ending = threading.Thread(target=lambda: took.append(_script().stop(two.processes["one"])))
    ending.start()
    ending.join(timeout=40)
    assert took
    assert took[0] < 25
    with open_workspace(two.workspace, read_only=True) as ws:
        batches = ws.batches().sort_values("batch")
        assert batches["file"].tolist() == ["good_week.csv", "logger.csv"]
        assert batches["state"].tolist() == ["active", "active"]
        loaded = ws.readings("RIV-1", "turbidity_fnu")
        assert len(loaded) == ROWS
        assert (loaded["flag"] != 2).all()  # the quality tests were run too

    # the reader of the process that is gone is served by the other
    one.goto(f"{two.url}/check?view=batches")
    settle(one)
    assert "2 batches in force" in one.inner_text("[data-testid=stMain]")

    lines = two.lines("one")
    assert len(lines) == len([t for t in two.log("one").read_text().splitlines() if t.strip()])
    assert lines[-1]["message"] == "the server stops"
    assert lines[-1]["running"] == 1
    assert "@" not in json.dumps(lines)
    for tab in (one, other):
        tab.context.close()
    assert _script().stop(two.processes["two"]) < 10
