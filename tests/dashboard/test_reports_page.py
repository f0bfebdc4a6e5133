"""The page Reports: what is offered is what the workspace answers, and a page without PDF says what to do."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from fathomlight import open_workspace
from fathomlight.report import station_report, volunteer_report
from fathomlight_dashboard import WORKSPACE_VARIABLE


def one_page() -> None:
    """Run inside AppTest."""
    from fathomlight_dashboard import data
    from fathomlight_dashboard.page import show
    from fathomlight_dashboard.state import State
    from fathomlight_dashboard.views.reports import PAGE

    show(PAGE, data.workspace(), State())


def opened(**params: str) -> AppTest:
    at = AppTest.from_function(one_page, default_timeout=120)
    for name, value in params.items():
        at.query_params[name] = value
    at.run()
    assert not at.exception
    assert not at.error, [e.value for e in at.error]
    return at


def sentences(at: AppTest) -> str:
    return "\n".join(e.proto.body for e in at.get("html"))


def preview(at: AppTest) -> Any:
    return at.get("iframe")[0].proto


@pytest.fixture
def demo(demo_workspace: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(demo_workspace))
    with open_workspace(demo_workspace, read_only=True) as ws:
        yield ws


def test_the_preview_is_the_report(demo: Any) -> None:
    at = opened(report="volunteer", station="QUE-2", year="2019", units="us", paper="letter")
    shown = preview(at).srcdoc
    assert shown.startswith("<!doctype html>")
    assert "size: letter" in shown
    assert "Quernholt upper arm" in shown
    assert " ft on " in shown
    assert "2019" in sentences(at)


def test_a_station_report_says_the_same_as_python(demo: Any) -> None:
    at = opened(report="station", station="TAN-3")
    written = station_report(demo, "TAN-3")
    assert preview(at).srcdoc == written.html
    for sentence in written.state:
        assert sentence.split(" (")[0] in sentences(at)


def test_both_files_are_offered(demo: Any) -> None:
    pytest.importorskip("weasyprint")
    at = opened(report="volunteer", station="VEL-1")
    labels = [b.proto.label for b in at.get("download_button")]
    assert any("HTML" in label for label in labels)
    assert any("PDF" in label for label in labels)


def test_without_the_extra_the_page_says_what_to_do(demo: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fathomlight.report.pdf_available", lambda: False)
    at = opened(report="volunteer", station="VEL-1")
    labels = [b.proto.label for b in at.get("download_button")]
    assert not any("PDF" in label for label in labels)
    assert "fathomlight[pdf]" in at.info[0].value


def test_a_year_without_readings_is_still_a_page(demo: Any) -> None:
    at = opened(report="volunteer", station="TAN-3", year="2023")
    assert "2023" in sentences(at)


def test_this_year_last_year_and_an_own_period(demo: Any) -> None:
    at = opened(report="volunteer", station="VEL-1")
    box = next(s for s in at.selectbox if s.label == "Period")
    assert box.options[:3] == ["2025, this year", "2024, last year", "Own period: choose two days"]
    at = opened(report="volunteer", station="VEL-1", year="own", **{"from": "2024-06-15", "to": "2025-07-20"})
    made = volunteer_report(demo, "VEL-1", start="2024-06-15", end="2025-07-20")
    assert preview(at).srcdoc == made.html
    assert "15 Jun 2024 to 20 Jul 2025" in sentences(at)


def test_days_in_the_wrong_order_are_told(demo: Any) -> None:
    at = opened(report="volunteer", station="VEL-1", year="own", **{"from": "2025-06-15", "to": "2024-07-20"})
    assert "The last day lies before the first" in at.warning[0].value
    assert not at.get("iframe")
