"""A report on one station, for a manager; and one page for the volunteer who reads it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from fathomlight.figures.shown import Units, count_text, date_text, parameter_number, shown_unit, to_shown
from fathomlight.report import words
from fathomlight.report.document import Report, check_paper
from fathomlight.report.facts import Facts, gather
from fathomlight.report.page import render
from fathomlight.report.period import Day, check_period
from fathomlight.report.sections import past_text, season_picture, station_sections
from fathomlight.report.sources import CLARITY_CAUTION, FIELD_CAUTION

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace


def station_report(
    ws: Workspace,
    station: str,
    year: int | None = None,
    *,
    start: Day | None = None,
    end: Day | None = None,
    parameter: str | None = None,
    species: str = "walleye",
    paper: str = "a4",
    units: Units | None = None,
) -> Report:
    """Write the report on one station and one year or other period.

    Parameters
    ----------
    ws : Workspace
        Open.
    station : str
        Id, name or alias.
    year : int, optional
        The year; that of the day taken as today when left out. Nothing later is in the report.
    start, end : datetime.date or str, optional
        First and last day, instead of a year; today when only the first is given. Trend, trophic state and
        habitat are told by whole years up to the one the period ends in all the same.
    parameter : str, optional
        What speaks for clarity; the first the station has when left out.
    species : str
        Whose habitat, as in ``config/species.toml``.
    paper : {"a4", "letter"}
        Size of the printed page.
    units : {"metric", "us"}, optional
        Those of the workspace when left out.

    Returns
    -------
    Report
        The state in two sentences, map, season, trend, index, habitat, episodes, completeness, methods, cautions.

    Raises
    ------
    fathomlight.errors.NotFoundError
        No such station, parameter or species.
    fathomlight.errors.ArgumentError
        A period that has not begun yet, or an unknown paper.
    """
    size, shown, when = check_paper(paper), units or ws.units, check_period(ws, year, start, end)
    facts = gather(ws, station, when, parameter=parameter, species=species, units=shown)
    sections = station_sections(ws, facts, shown)
    state = words.state_sentences(facts, shown)
    title = f"{facts.station.name}, {when.label}"
    page = render(
        "pages.html.j2", ws, paper=size, title=title, kind="station", units=_units(shown),
        over=f"Water clarity report · {facts.water.name}", state=state, sections=sections,
    )  # fmt: skip
    return Report(
        kind="station", title=title, year=facts.year, first=when.first, last=when.last,
        station=facts.station.id, state=state, html=page, paper=size,
        n_figures=sum(s.n_figures for s in sections), file_stem=file_stem(facts.station.id, when.stem),
    )  # fmt: skip


def _units(units: Units) -> str:
    return "feet and °F" if units == "us" else "metres and °C"


def file_stem(name: str, period: str, kind: str = "report") -> str:
    """Return a name for a file that every system takes.

    Examples
    --------
    >>> file_stem("PIN 1/a", "2025")
    'PIN-1-a-2025-report'
    """
    safe = (
        "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in name).strip("-")
        or "station"
    )
    return f"{safe}-{period}-{kind}"


def volunteer_report(
    ws: Workspace,
    station: str,
    year: int | None = None,
    *,
    start: Day | None = None,
    end: Day | None = None,
    parameter: str | None = None,
    paper: str = "a4",
    units: Units | None = None,
) -> Report:
    """Write one page for whoever reads the disc: what your readings showed, in plain language.

    Parameters
    ----------
    ws, station, year, start, end, parameter, paper, units
        As for :func:`station_report`.

    Returns
    -------
    Report
        One page.
    """
    size, shown, when = check_paper(paper), units or ws.units, check_period(ws, year, start, end)
    facts = gather(ws, station, when, parameter=parameter, habitat=False)
    chart = replace(season_picture(facts, shown, width=5.0), small="")
    state = plain_state(facts, shown)
    title = "What your readings showed"
    page = render(
        "volunteer.html.j2", ws, paper=size, title=title, kind="volunteer", units=_units(shown),
        over=f"{facts.station.name}, {facts.water.name} · {when.label}", state=state, chart=chart,
        long=plain_trend(facts, shown), yours=your_readings(facts), how=_how(facts),
        caution=f"{CLARITY_CAUTION} {FIELD_CAUTION}",
    )  # fmt: skip
    return Report(
        kind="volunteer", title=f"{title}: {facts.station.name}, {when.label}", year=facts.year, first=when.first,
        last=when.last, station=facts.station.id,
        state=state, html=page, paper=size, n_figures=1, file_stem=file_stem(facts.station.id, when.stem, "volunteer"),
    )  # fmt: skip


def plain_state(facts: Facts, units: Units) -> tuple[str, ...]:
    """Say how the period was, to somebody who knows the place and no statistics."""
    rows, what = facts.rows, facts.parameter
    if rows.empty:
        return (
            f"There is no reading of {words.short_label(what)} {facts.period.of} here yet that can be used.",
        )
    told = rows[rows["where"] != ""]
    last = rows.iloc[-1]
    latest = parameter_number(float(last["value"]), what, units, str(last["qualifier"]))
    latest = latest.replace("> ", "more than ").replace("< ", "less than ")
    newest = f"The latest reading was {latest} on {date_text(last['local_date'])}"
    if told.empty:
        return (f"{newest}. There are not enough earlier years to say yet whether that is usual.",)
    first = f"{facts.period.begin} the water here was {words.verdict(facts)}: {words.count_words(facts)}."
    return (first, f"{newest}{_where(str(last['where']))}.")


def _where(word: str) -> str:
    return {
        "clearer": ": clearer than usual",
        "murkier": ": murkier than usual",
        "usual": ": about as usual",
    }.get(word, "")


def plain_trend(facts: Facts, units: Units) -> list[str]:
    """Say the change over the years in plain words."""
    answer, what = facts.trend, facts.parameter
    s = answer.seasonal
    if not math.isfinite(s.p) or s.n_times < words.LEAST_YEARS:
        return [
            f"There are readings from {count_text(s.n_times, 'year')}. At least {words.LEAST_YEARS} years are needed "
            "before anybody can say whether the water is changing. Every year counts."
        ]
    if answer.clarity not in ("clearer", "murkier"):
        return [
            f"Since {answer.first_year} the readings go up and down from year to year, but they point in no sure "
            "direction."
        ]
    change = abs(10 * float(to_shown(s.slope, what.unit, units, difference=True)))
    sure = {True: "almost certain", False: "likely, but not certain"}[s.confidence >= 0.95]
    return [
        f"Since {answer.first_year} the water here has been getting {answer.clarity}: about {change:.1f} "
        f"{shown_unit(what.unit, units)} in ten years. That is {sure} ({words.percent(s.confidence)}).",
        "Why it changes, the readings alone cannot tell.",
    ]


def your_readings(facts: Facts) -> list[str]:
    """Say how many readings there were, and what became of them."""
    every = facts.every[facts.every["parameter"] == facts.parameter.name]
    n, n_used = len(every), len(facts.rows)
    lines = [
        f"{count_text(n, 'reading')} of {words.short_label(facts.parameter)} {facts.period.within}. Thank you!"
    ]
    if not n:
        lines = [f"No reading of {words.short_label(facts.parameter)} {facts.period.within} yet."]
    elif n_used == n:
        lines.append("All of them are used.")
    else:
        lines.append(
            f"{n - n_used} of them looked unusual and are set aside until somebody has checked them."
        )
    bounds = int((facts.rows["qualifier"] == ">").sum())
    if bounds:
        lines.append(
            f"On {count_text(bounds, 'day')} the disc was seen on the bottom: the water was clearer than could be "
            "measured."
        )
    lines.append(
        f"What helps most: a reading at least every {facts.station.schedule_days:g} days while the water is open."
    )
    return lines


def _how(facts: Facts) -> str:
    past = past_text(facts)
    if not past:
        return "Each mark is one reading. The deeper the mark, the deeper the disc could still be seen."
    deeper = (
        "The deeper a mark hangs, the clearer the water was. " if facts.parameter.name == "secchi" else ""
    )
    return (
        f"Each mark is one reading. {deeper}The grey band is what is usual at this place on that day of the year "
        f"({past}): of ten earlier readings eight lie in it."
    )
