"""Reports: a year, or any other period, on paper; one station, all of them, or one page for a volunteer."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.figures.shown import date_text
from fathomlight_dashboard import choices, data, widgets
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.report import Report
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

KINDS = {
    "station": "One station",
    "volunteer": "One page for a volunteer",
    "network": "All stations",
}
OWN = "own"
Period = tuple[int | None, dt.date | None, dt.date | None]
"""A year, or else the first and last day."""


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    years = _years(ws)
    if not years:
        widgets.nothing_yet("There is nothing to report yet.", "Add readings on the page Add readings.")
        state.link("add", "Add readings", icon=":material/add:")
        return
    kind = state.choose(
        "report", "Report on", list(KINDS), words=KINDS.__getitem__, widget="segments",
        help="A page for a volunteer says in plain words what their readings showed.",
    )  # fmt: skip
    left, right = st.columns(2)
    station = None if kind == "network" else choices.station(ws, state, place=left).id
    period = _period(ws, state, years, right if station else left)
    paper = state.choose(
        "paper", "Paper", ["a4", "letter"], words={"a4": "A4", "letter": "US letter"}.__getitem__,
        widget="segments",
    )  # fmt: skip
    if period is None:
        return
    args = (kind, station, period, paper, state.units(ws))
    report = data.make(ws, "report", *args, how=_make)
    widgets.sentence(f"{report.title}. {' '.join(report.state)}")
    _downloads(report)
    with st.expander("Look at it here", expanded=True):
        # The page is ours: every value in it is escaped, and its own policy forbids scripts and requests.
        st.iframe(report.html, height=900, alt=f"The report: {report.title}")
    widgets.caution(widgets.SAFETY)


def _years(ws: Workspace) -> list[int]:
    counts = data.ask(ws, "counts")
    if counts.empty:
        return []
    first, last = int(counts["first"].min().year), min(int(counts["last"].max().year), ws.as_of.year)
    return list(range(last, first - 1, -1))


def _period(ws: Workspace, state: State, years: list[int], place: Any) -> Period | None:
    """Let the reader choose a year or two days; None while the days make no period."""
    names = [str(y) for y in years]
    chosen = state.choose(
        "year", "Period", [*names[:2], OWN, *names[2:]], words=lambda y: _year_words(ws, y), place=place,
        help="A calendar year, or any days you choose. The trend always uses whole years, from the first on.",
    )  # fmt: skip
    if chosen != OWN:
        return int(chosen), None, None
    left, right = st.columns(2)
    usual = ws.as_of - dt.timedelta(days=365)
    first = state.date("from", "First day", default=usual, place=left) or usual
    last = state.date("to", "Last day", default=ws.as_of, place=right) or ws.as_of
    if first > ws.as_of:
        st.warning(f"The first day has not come yet: choose one up to {date_text(ws.as_of)}.")
        return None
    if last < first:
        st.warning("The last day lies before the first: choose the earlier day as the first.")
        return None
    return None, first, last


def _year_words(ws: Workspace, year: str) -> str:
    if year == OWN:
        return "Own period: choose two days"
    ago = ws.as_of.year - int(year)
    return f"{year}, this year" if ago == 0 else f"{year}, last year" if ago == 1 else year


def _make(ws: Workspace, kind: str, station: str | None, period: Period, paper: str, units: Any) -> Report:
    from fathomlight.report import (
        network_report,
        station_report,
        volunteer_report,
    )  # its drawing loads slowly

    year, start, end = period
    if kind == "network":
        return network_report(ws, year, start=start, end=end, paper=paper, units=units)
    make = volunteer_report if kind == "volunteer" else station_report
    return make(ws, str(station), year, start=start, end=end, paper=paper, units=units)


def _downloads(report: Report) -> None:
    from fathomlight.report import pdf_available, report_pdf

    left, right = st.columns(2)
    left.download_button(
        "Save as a page (HTML)", data=report.html.encode(), file_name=f"{report.file_stem}.html", mime="text/html",
        icon=":material/download:", on_click="ignore", width="stretch",
    )  # fmt: skip
    if not pdf_available():
        right.info(
            "To save a PDF, open the page and print it to a file; or install what writes it here: "
            '`pip install "fathomlight[pdf]"`.'
        )
        return
    right.download_button(
        "Save as PDF", data=partial(report_pdf, report), file_name=f"{report.file_stem}.pdf",
        mime="application/pdf", icon=":material/picture_as_pdf:", on_click="ignore", width="stretch",
    )  # fmt: skip


PAGE = Page(
    title="Reports",
    path="reports",
    order=80,
    question="What goes to the board, the town or the volunteers this year?",
    render=render,
    carries=("units", "station"),
)
