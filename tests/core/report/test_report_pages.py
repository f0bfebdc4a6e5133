"""A report is one whole page that asks nothing of any other place, and everybody can read it."""

from __future__ import annotations

import re
import shutil
import sys
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from fathomlight import open_workspace
from fathomlight.errors import ArgumentError, MissingExtraError, NotFoundError
from fathomlight.report import (
    Report,
    network_report,
    report_pdf,
    station_report,
    volunteer_report,
    write_report,
)
from fathomlight.store import BatchInfo

from .conftest import Page


def test_a_page_is_whole(every: Report) -> None:
    assert every.html.startswith('<!doctype html>\n<html lang="en">')
    assert every.html.rstrip().endswith("</html>")
    assert Page(every.html).unclosed == []


def test_nothing_is_asked_of_any_other_place(every: Report) -> None:
    page = Page(every.html)
    for tag in ("script", "img", "iframe", "object", "embed", "link", "base", "form", "video", "audio"):
        assert page.all(tag) == [], tag
    targets = [v for _, a in page.elements for k, v in a.items() if k in ("href", "xlink:href", "src") and v]
    assert {t[0] for t in targets} <= {"#"}
    assert not re.search(r"url\((?!#)", every.html)
    assert "@import" not in every.html
    assert not [k for _, a in page.elements for k in a if k.startswith("on")]
    # Addresses may stand only where XML names its own vocabularies.
    assert set(re.findall(r"https?://[^\s\"'<]+", every.html)) == {
        "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
    }  # fmt: skip


def test_references_inside_the_page_arrive(every: Report) -> None:
    page = Page(every.html)
    ids = [a["id"] for _, a in page.elements if a.get("id")]
    assert len(ids) == len(set(ids)), [i for i in ids if ids.count(i) > 1][:5]
    asked = {v[1:] for _, a in page.elements for k, v in a.items() if k in ("href", "xlink:href") and v}
    asked |= set(re.findall(r"url\(#([^)]+)\)", every.html))
    for _, a in page.elements:
        for name in ("aria-labelledby", "aria-describedby"):
            asked |= set((a.get(name) or "").split())
    assert asked <= set(ids), sorted(asked - set(ids))[:5]


def test_every_picture_says_itself(every: Report) -> None:
    drawings = re.findall(r"<svg.*?</svg>", every.html, flags=re.DOTALL)
    assert len(drawings) == every.n_figures > 0
    for drawing in drawings:
        assert 'role="img"' in drawing
        title, described = (re.search(rf"<{t} id=[^>]*>(.*?)</{t}>", drawing) for t in ("title", "desc"))
        assert title
        assert described
        assert len(title[1]) > 10
        assert len(described[1]) > 25


def test_invented_data_are_called_so(every: Report) -> None:
    assert "Invented data: no real water, place or person." in Page(every.html).text
    assert "(invented data)</title>" in every.html


def test_the_parts_a_manager_needs_are_there(station: Report, network: Report) -> None:
    for made in (station, network):
        text = Page(made.html).text
        for words in (
            "Is it changing", "Trophic state", "Habitat of a sight-feeding fish", "What asked for attention",
            "Completeness and quality", "Methods and sources", "Cautions", "safe to swim", "Hirsch", "Carlson",
        ):  # fmt: skip
            assert words in text, (made.kind, words)
    assert station.n_figures == 10
    assert len(station.state) == len(network.state) == 2
    for sentence in station.state:
        assert sentence in Page(station.html).text
        assert re.match(r"[A-Z].*\.$", sentence)


@pytest.fixture
def hostile(own_workspace: Path) -> Path:
    """A workspace whose names and readings try to leave their place."""
    config = own_workspace / "config"
    stations = config / "stations.csv"
    text = stations.read_text(encoding="utf-8")
    stations.write_text(text.replace("Quernholt upper arm", "<b>$x_1$</b> & 'arm'\" \\%"), encoding="utf-8")
    with open_workspace(own_workspace) as ws:
        last = ws.store.readings(station="QUE-2", parameter="secchi").iloc[-1:]
        earlier = last["time"] - pd.Timedelta(minutes=7)
        again = last.assign(time=earlier, note="Observer Zed saw a boat", method="Observer Zed")
        ws.store.load_readings(again, BatchInfo(file="observer-zed.csv", who="Observer Zed"))
    return own_workspace


def test_names_cannot_leave_their_place_and_observers_are_not_named(hostile: Path) -> None:
    with open_workspace(hostile) as ws:
        for made in (station_report(ws, "QUE-2"), volunteer_report(ws, "QUE-2")):
            page = Page(made.html)
            assert page.unclosed == []
            assert page.all("b") == []
            assert "<b>$x_1$</b> & 'arm'\" \\%" in page.text
            assert "Zed" not in made.html
            assert "observer-zed" not in made.html
            assert "saw a boat" not in made.html


def test_without_invented_waters_nothing_says_so(own_workspace: Path) -> None:
    path = own_workspace / "config" / "workspace.toml"
    text = path.read_text(encoding="utf-8").replace("invented = true", "invented = false")
    path.write_text(text.replace("Demo waters (invented)", "Our waters"), encoding="utf-8")
    with open_workspace(own_workspace) as ws:
        made = volunteer_report(ws, "QUE-2")
    assert "nvented" not in made.html


def test_the_same_readings_give_the_same_page(demo_ws: Any, volunteer: Report) -> None:
    assert volunteer_report(demo_ws, "PIN-2", paper="letter", units="us").html == volunteer.html


def test_wrong_wishes_are_told(demo_ws: Any) -> None:
    with pytest.raises(NotFoundError, match="station"):
        station_report(demo_ws, "NOWHERE")
    with pytest.raises(ArgumentError, match="year"):
        volunteer_report(demo_ws, "QUE-2", 2026)
    with pytest.raises(ArgumentError, match="paper"):
        network_report(demo_ws, paper="a5")
    with pytest.raises(ArgumentError, match="clarity"):
        volunteer_report(demo_ws, "QUE-2", parameter="temperature")
    with pytest.raises(NotFoundError, match="species"):
        station_report(demo_ws, "QUE-2", species="unicorn")


def test_files_are_whole_or_not_there(volunteer: Report, tmp_path: Path) -> None:
    path = write_report(volunteer, tmp_path / "new" / "page.html")
    assert path.read_text(encoding="utf-8") == volunteer.html
    with pytest.raises(ArgumentError, match=r"\.html or \.pdf"):
        write_report(volunteer, tmp_path / "page.docx")
    assert [p.name for p in path.parent.iterdir()] == ["page.html"]


def test_without_the_extra_a_pdf_says_which(
    volunteer: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(MissingExtraError, match=r"fathomlight\[pdf\]"):
        write_report(volunteer, tmp_path / "page.pdf")
    assert list(tmp_path.iterdir()) == []


def test_a_pdf_is_one(station: Report, tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    content = report_pdf(station)
    assert content.startswith(b"%PDF-")
    assert content.rstrip().endswith(b"%%EOF")


def _pages(report: Report) -> list[Any]:
    weasyprint = pytest.importorskip("weasyprint")
    pages: list[Any] = weasyprint.HTML(string=report.html).render().pages
    return pages


MM = 96 / 25.4
PAPER_MM = {"a4": (210, 297), "letter": (215.9, 279.4)}
"""ISO 216 and ANSI/ASME Y14.1."""


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_volunteer_gets_one_page(demo_ws: Any, paper: str) -> None:
    for name in demo_ws.stations:
        pages = _pages(volunteer_report(demo_ws, name, paper=paper))
        assert len(pages) == 1, name
        size = (pages[0].width / MM, pages[0].height / MM)
        assert size == pytest.approx(PAPER_MM[paper], abs=0.1)


@pytest.fixture
def bare(root: Path, tmp_path: Path) -> Path:
    for name in ("config", "data"):
        shutil.copytree(root / name, tmp_path / "bare" / name)
    return tmp_path / "bare"


def test_a_workspace_without_readings_has_reports_too(bare: Path) -> None:
    with open_workspace(bare) as ws:
        for made in (station_report(ws, "QUE-2"), network_report(ws), volunteer_report(ws, "QUE-2")):
            page = Page(made.html)
            assert page.unclosed == []
            assert re.search(r"no (used )?reading|no station has readings", page.text, flags=re.IGNORECASE)
            assert "nan" not in page.text.lower().split()
