"""What a report is made of: sections with sentences, pictures and tables; and the finished report."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from fathomlight.errors import ArgumentError
from fathomlight.model import Result
from fathomlight.report.charts import Chart

Paper = Literal["a4", "letter"]
Kind = Literal["station", "network", "volunteer"]
PAPERS: dict[str, str] = {"a4": "A4", "letter": "letter"}
"""Paper sizes as the command line and CSS call them."""


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table: what it holds, its columns, its rows as text; ``numeric`` names columns set to the right."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of a report.

    Attributes
    ----------
    key, title : str
        Address inside the page, and heading.
    lead : str
        The answer in a sentence or two.
    blocks : tuple of Chart or Table
        In the order in which they are read.
    notes : tuple of str
        What a careful reader must know.
    caution : str
        What could hurt someone if it were read wrongly.
    beside : bool
        Set the blocks beside each other where there is room.
    """

    key: str
    title: str
    lead: str = ""
    blocks: tuple[Chart | Table, ...] = ()
    notes: tuple[str, ...] = ()
    caution: str = ""
    beside: bool = False

    @property
    def n_figures(self) -> int:
        """How many pictures it holds."""
        return sum(isinstance(b, Chart) for b in self.blocks)


@dataclass(frozen=True, kw_only=True)
class Report(Result):
    """A finished report.

    Attributes
    ----------
    kind : {"station", "network", "volunteer"}
        Which of the three.
    title : str
        As it stands at the top.
    year : int
        The year it is about, or the one its period ends in.
    first, last : datetime.date
        The days it is about.
    station : str
        Id of the station; empty for the network.
    state : tuple of str
        The state in two sentences.
    html : str
        The whole page; it asks nothing of any other place.
    paper : {"a4", "letter"}
        Size of the pages when printed.
    n_figures : int
        Pictures in it.
    file_stem : str
        A good name for its file, without ending.
    """

    kind: Kind
    title: str
    year: int
    first: dt.date
    last: dt.date
    station: str
    state: tuple[str, ...]
    html: str
    paper: Paper
    n_figures: int
    file_stem: str


def check_paper(paper: str) -> Paper:
    """Return a paper size, or say which there are."""
    if paper == "a4":
        return "a4"
    if paper == "letter":
        return "letter"
    raise ArgumentError("paper", "no such paper size", got=paper, expected="a4 or letter")


def table(
    caption: str, columns: Sequence[str], rows: Sequence[Sequence[Any]], numeric: Sequence[int] = ()
) -> Table:
    """Make a table of anything that can be written as text."""
    return Table(
        caption=caption,
        columns=tuple(columns),
        rows=tuple(tuple(str(c) for c in row) for row in rows),
        numeric=frozenset(numeric),
    )
