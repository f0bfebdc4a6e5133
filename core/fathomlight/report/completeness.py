"""How complete the readings of a year are, and how good."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import TYPE_CHECKING

import pandas as pd

from fathomlight.figures.shown import count_text, date_text
from fathomlight.model import EQUAL, USED_FLAGS, Flag
from fathomlight.report import charts_year, words
from fathomlight.report.document import Section, Table, table
from fathomlight.report.period import Period

if TYPE_CHECKING:
    from fathomlight.report.facts import Facts
    from fathomlight.workspace import Workspace

_USED = [int(f) for f in USED_FLAGS]


def completeness(ws: Workspace, facts: Facts) -> Section:
    """Write what was read when, what was left out and why, and where the gaps are."""
    labels = {p: ws.parameters[p].label for p in ws.parameters if (facts.every["parameter"] == p).any()}
    name = facts.station.name
    visits = charts_year.visits_chart(
        "visits", facts.every, labels, facts.period, place=name, until=facts.until
    )
    record = charts_year.record_chart(
        "record",
        facts.days_by_year,
        facts.period,
        place=name,
        label=facts.parameter.label,
        n=facts.rows["local_date"].nunique(),
    )
    bad = int((~facts.every["flag"].isin(_USED)).sum())
    lead = (
        f"{count_text(len(facts.every), 'reading')} of {count_text(len(labels), 'parameter')} {facts.period.within}, "
        f"{bad or 'none'} left out for their flag. {pause_sentence(ws, facts)}"
    )
    notes = []
    if facts.n_refused:
        notes.append(
            f"{count_text(facts.n_refused, 'row')} of loaded files (of any year) that name this station were refused "
            "and are in no number here; they wait to be put right."
        )
    if facts.until < facts.period.last:
        notes.append(f"The {facts.period.noun} is not over: readings up to {date_text(facts.until)} are in.")
    return Section(
        key="data", title="Completeness and quality of the readings", lead=lead,
        blocks=(visits, flag_table(facts.every, labels, facts.period), record), notes=tuple(notes),
    )  # fmt: skip


def flag_table(every: pd.DataFrame, labels: dict[str, str], period: Period) -> Table:
    """Count the readings of a period by flag.

    Parameters
    ----------
    every : pandas.DataFrame
        ``parameter``, ``local_date``, ``flag``, ``qualifier``.
    labels : dict of str to str
        Parameters and their names.
    period : Period
        For the caption.
    """
    rows = []
    for key, label in labels.items():
        part = every[every["parameter"] == key]
        by_flag = part["flag"].value_counts()
        counts = [int(by_flag.get(int(f), 0)) for f in Flag]
        bounds = int((part["qualifier"] != EQUAL).sum())
        rows.append((label, part["local_date"].nunique(), len(part), *counts, bounds))
    flags = tuple(f.name.replace("_", " ").capitalize() for f in Flag)
    return table(
        f"Readings {period.of} by flag (pass and not evaluated are used)",
        ("Parameter", "Days", "Readings", *flags, "Bounds"),
        [(r[0], *(f"{n:,}" for n in r[1:])) for r in rows],
        range(1, 4 + len(flags)),
    )


def pause_sentence(ws: Workspace, facts: Facts) -> str:
    """Say the longest pause between readings in the open-water season, against the plan."""
    spans = _open_water_spans(ws, facts)
    if not spans:
        return ""
    read = sorted({d.date() for d in facts.rows["local_date"]})
    what = words.short_label(facts.parameter)
    plan = facts.station.schedule_days
    if not any(first <= d <= last for first, last in spans for d in read):
        return f"The open-water season has no used reading of {what}; at most {plan:g} days were planned between two."
    pauses = []
    for first, last in spans:
        days = [d for d in read if first <= d <= last]
        ends = [*days, last] if days else [first, last]
        pauses += [(b - a, a, b) for a, b in pairwise(ends)]
    longest = max(pauses, key=lambda p: p[0])
    late = sum(p[0].days > plan for p in pauses)
    text = (
        f"The longest pause in {what} within the open-water season was {longest[0].days} days "
        f"({words.span_text(longest[1], longest[2])}); "
    )
    return text + (
        f"{count_text(late, 'pause')} went beyond the planned {plan:g} days."
        if late
        else f"none went beyond the planned {plan:g} days."
    )


def _open_water_spans(ws: Workspace, facts: Facts) -> list[tuple[dt.date, dt.date]]:
    """Return the open-water season of every year of the period, as far as the period reaches."""
    spans = []
    for year in facts.period.years:
        first, last = open_water(ws, year)
        first, last = max(first, facts.period.first), min(last, facts.until)
        if first < last:
            spans.append((first, last))
    return spans


def open_water(ws: Workspace, year: int) -> tuple[dt.date, dt.date]:
    """Return the first and last day of the open-water season of a year."""
    months = ws.config.open_water
    end = pd.Timestamp(year=year, month=months[-1], day=1) + pd.offsets.MonthEnd(0)
    return dt.date(year, months[0], 1), end.date()
