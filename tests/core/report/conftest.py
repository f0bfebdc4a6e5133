"""Reports of the demo waters, written once."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from fathomlight import open_workspace
from fathomlight.report import Report, network_report, station_report, volunteer_report

VOID = {"meta", "br", "img", "link", "hr", "input"}


@pytest.fixture(scope="session")
def demo_ws(demo_workspace: Path) -> Iterator[Any]:
    with open_workspace(demo_workspace, read_only=True) as ws:
        yield ws


@pytest.fixture(scope="session")
def station(demo_ws: Any) -> Report:
    return station_report(demo_ws, "QUE-2")


@pytest.fixture(scope="session")
def network(demo_ws: Any) -> Report:
    return network_report(demo_ws)


@pytest.fixture(scope="session")
def volunteer(demo_ws: Any) -> Report:
    return volunteer_report(demo_ws, "PIN-2", paper="letter", units="us")


@pytest.fixture(params=["station", "network", "volunteer"])
def every(request: pytest.FixtureRequest) -> Report:
    made: Report = request.getfixturevalue(request.param)
    return made


class Page(HTMLParser):
    """A page read by Python's own parser: elements in order, text, and whether every element is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._open: list[str] = []
        self.unclosed: list[str] = []
        self.feed(text)
        self.close()
        self.unclosed += self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if self._open and self._open[-1] == tag:
            self._open.pop()
        else:
            self.unclosed.append(f"/{tag}")

    def handle_data(self, data: str) -> None:
        if not self._open or self._open[-1] not in ("style", "title", "desc", "text"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [a for t, a in self.elements if t == tag]


def rows_of(html: str, caption: str) -> list[list[str]]:
    """Return the cells of the table with this caption."""
    document = pytest.importorskip("lxml.html")

    for table in document.fromstring(html).iter("table"):
        if table.findtext("caption", "").startswith(caption):
            return [[(c.text_content() or "").strip() for c in row] for row in table.iter("tr")]
    raise AssertionError(f"no table {caption}")
