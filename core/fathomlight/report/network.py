"""One report on all stations together."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fathomlight.figures.shown import (
    Units,
    count_text,
    date_text,
    number,
    p_text,
    parameter_number,
    shown_unit,
    to_shown,
)
from fathomlight.figures.theme import STANDING_WORDS
from fathomlight.model import Parameter
from fathomlight.report import charts_map, words
from fathomlight.report.charts import Chart
from fathomlight.report.completeness import flag_table
from fathomlight.report.document import Report, Section, Table, check_paper, table
from fathomlight.report.facts import (
    Facts,
    episodes_of,
    gather,
    last_day,
    readings_of,
    refused_by_station,
    used,
)
from fathomlight.report.page import render
from fathomlight.report.period import Day, Period, check_period
from fathomlight.report.sections import (
    STANDING_CELL,
    basis_of,
    episodes_section,
    list_of,
    period_method,
    with_basis,
)
from fathomlight.report.sources import (
    CLARITY_CAUTION,
    FIELD_CAUTION,
    HABITAT_CAUTION,
    QUALIFIER_METHOD,
    SEASON_METHOD,
    SOURCES,
    STANDING_METHOD,
)
from fathomlight.report.station import file_stem

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace


def network_report(
    ws: Workspace,
    year: int | None = None,
    *,
    start: Day | None = None,
    end: Day | None = None,
    parameter: str = "secchi",
    species: str = "walleye",
    paper: str = "a4",
    units: Units | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Report:
    """Write one report on all stations of a workspace and one year or other period.

    Parameters
    ----------
    ws : Workspace
        Open.
    year : int, optional
        The year; that of the day taken as today when left out. Nothing later is in the report.
    start, end : datetime.date or str, optional
        First and last day, instead of a year, as for :func:`~fathomlight.report.station_report`.
    parameter : str
        What speaks for clarity.
    species : str
        Whose habitat, as in ``config/species.toml``.
    paper : {"a4", "letter"}
        Size of the printed page.
    units : {"metric", "us"}, optional
        Those of the workspace when left out.
    progress : callable, optional
        Called with (stations done, stations in all).

    Returns
    -------
    Report
        The state in two sentences, map, standing, trends, index, habitat, episodes, completeness, methods, cautions.

    Raises
    ------
    fathomlight.errors.NotFoundError
        No such parameter or species.
    fathomlight.errors.ArgumentError
        A period that has not begun yet, or an unknown paper.
    """
    size, shown, when = check_paper(paper), units or ws.units, check_period(ws, year, start, end)
    what = ws.parameter(parameter)
    every = []
    for done, station in enumerate(ws.stations, start=1):
        every.append(gather(ws, station, when, parameter=what.name, species=species, units=shown))
        if progress is not None:
            progress(done, len(ws.stations))
    last = last_day(ws, when)
    trends = ws.trends(what.name, end=last.year)
    sections = [
        standings_section(ws, every, what, when, shown),
        trends_section(every, trends, what, shown, when),
        index_section(every, last.year),
        habitat_section(ws, every, species, last.year, shown),
        episodes_section(
            ws, episodes_of(ws, when, units=shown), when, last, title=f"What asked for attention {when.within}",
            place=ws.name, several=True,
        ),
        readings_section(ws, every, when),
        methods_section(ws, every, when),
        Section(
            key="cautions", title="Cautions", notes=(CLARITY_CAUTION, HABITAT_CAUTION, FIELD_CAUTION)
        ),
    ]  # fmt: skip
    state = network_state(every, trends, what, when)
    title = f"{ws.name}, {when.label}"
    page = render(
        "pages.html.j2", ws, paper=size, title=title, kind="network",
        units="feet and °F" if shown == "us" else "metres and °C",
        over=f"Water clarity report · {count_text(len(every), 'station')}", state=state, sections=sections,
    )  # fmt: skip
    return Report(
        kind="network", title=title, year=last.year, first=when.first, last=when.last, station="",
        state=state, html=page, paper=size,
        n_figures=sum(s.n_figures for s in sections), file_stem=file_stem("network", when.stem),
    )  # fmt: skip


def network_state(
    every: list[Facts], trends: pd.DataFrame, what: Parameter, period: Period
) -> tuple[str, str]:
    """Say the state of a network in two sentences."""
    told = [f for f in every if (f.rows["where"] != "").any()]
    found = [words.standing_of_year(f) for f in told]
    clear, murky, swing = (found.count(w) for w in ("clearer", "murkier", "swinging"))
    first = (
        f"{period.begin.rstrip(',')}, of {count_text(len(told), 'station')} that can be compared with their past, "
        f"{clear} {'was' if clear == 1 else 'were'} mostly or often clearer than usual, {murky} murkier"
        + (f", {swing} by turns clearer and murkier" if swing else "")
        + f", and {found.count('usual')} as usual."
        if told
        else f"{period.begin} no station has readings and past enough to be compared."
    )
    known = trends[~too_short(trends)].dropna(subset=["p"])
    sure = known[known["sure"]]
    n = {w: int((sure["clarity"] == w).sum()) for w in ("clearer", "murkier")}
    second = (
        f"Over the years {n['clearer']} of {count_text(len(known), 'station')} are surely getting clearer and "
        f"{n['murkier']} surely murkier; for {len(known) - n['clearer'] - n['murkier']} no direction is sure after "
        "allowing for many tests."
        if len(known)
        else "No station has years enough for a trend."
    )
    return first, second


WHOLE_YEARS = (
    "The trends rest on every reading of the years up to {year}, whole, not on those of the period alone."
)


def too_short(trends: pd.DataFrame) -> pd.Series:
    """Return which trends rest on too few years to be spoken of."""
    return trends["last_year"] - trends["first_year"] + 1 < words.LEAST_YEARS


def standings_section(
    ws: Workspace, every: list[Facts], what: Parameter, period: Period, units: Units
) -> Section:
    """Write where the stations are and how each stands."""
    rows = pd.DataFrame([
        {
            "station": f.station.id, "name": f.station.name, "water_name": f.water.name,
            "latitude": f.station.latitude, "longitude": f.station.longitude, "standing": f.standing.standing,
        }
        for f in every
    ])  # fmt: skip
    counts = rows["standing"].value_counts()
    said = ", ".join(f"{counts[k]} {w}" for k, w in STANDING_WORDS.items() if counts.get(k, 0))
    caption = f"Latest reading of {count_text(len(every), 'station')} against its own past: {said}."
    chart = charts_map.map_chart(
        "map",
        rows,
        ws.shorelines(),
        title=f"The stations and how they stand, {period.label}",
        caption="Each mark is a station; its shape and colour say how its latest reading stands.",
        units=units,
    )
    listed = []
    for f in every:
        value = parameter_number(f.standing.value, what, units, f.standing.qualifier)
        day = date_text(f.standing.date).removesuffix(f" {period.label}")
        latest = f"{value}, {day}" if math.isfinite(f.standing.value) else "none"
        told = f.rows[f.rows["where"] != ""]
        clear, murky = int((told["where"] == "clearer").sum()), int((told["where"] == "murkier").sum())
        listed.append((
            f.station.name, f.water.name, STANDING_CELL[f.standing.standing], latest,
            or_dash(f.median, what, units), or_dash(f.past_median, what, units),
            f"{clear} / {murky} / {len(told)}",
        ))  # fmt: skip
    columns = (
        "Station", "Water", "Latest stands", "Latest reading",
        f"Median {period.label}" if period.whole_year else "Median", "Usual", "Clearer / murkier / compared",
    )  # fmt: skip
    return Section(
        key="standing", title="How the stations stand", lead=caption,
        blocks=(chart, table(
            f"{what.label} {period.within} against the past of each station", columns, listed, range(3, 7)
        )),
        caution=CLARITY_CAUTION,
    )  # fmt: skip


def or_dash(level: tuple[float, str], what: Parameter, units: Units) -> str:
    """Write a value with its qualifier, or a dash where there is none."""
    return parameter_number(level[0], what, units, level[1]) if math.isfinite(level[0]) else "–"


def trends_section(
    every: list[Facts], trends: pd.DataFrame, what: Parameter, units: Units, period: Period
) -> Section:
    """Write the trends of all stations."""
    chart = charts_map.slopes_chart("slopes", trends, what, units=units)
    rows = []
    for r in trends.to_dict("records"):
        low, middle, high = (
            10 * float(to_shown(r[c], what.unit, units, difference=True))
            for c in ("slope_low", "slope", "slope_high")
        )
        years = f"{r['first_year']}–{r['last_year']}"
        if r["last_year"] - r["first_year"] + 1 < words.LEAST_YEARS or not math.isfinite(middle):
            rows.append((r["name"], "too few years", "–", "–", "–", "–", years, r["n"]))
            continue
        rows.append((
            r["name"], r["clarity"], words.percent(r["confidence"]), words.signed(middle),
            f"{words.signed(low)} to {words.signed(high)}",
            p_text(r["p_adjusted"]).removeprefix("p = ").removeprefix("p "), years, r["n"],
        ))  # fmt: skip
    columns = (
        "Station", "Direction", "How sure", f"Slope [{shown_unit(what.unit, units)} a decade]", "95 % limits",
        "Adjusted p", "Years", "Season values",
    )  # fmt: skip
    listed = table(f"Trend of {words.short_label(what)} at every station", columns, rows, (2, 3, 4, 5, 6, 7))
    note = "The adjusted p allows for testing many stations at once: 5 % false discoveries among those called sure."
    return Section(
        key="change", title="Is it changing", lead=chart.caption, blocks=(chart, listed),
        notes=(note,) if period.whole_year else (WHOLE_YEARS.format(year=every[0].year), note),
    )  # fmt: skip


def index_section(every: list[Facts], year: int) -> Section:
    """Write the trophic state of every station that has one."""
    rows = []
    classes: list[str] = []
    for f in every:
        row = words.latest_index(f)
        if not row:
            rows.append((f.station.name, "too few readings", "–", "–", "–", "–"))
            continue
        classes.append(str(row["class_name"]))
        chance = row.get(f"p: {row['class_name']}", math.nan)
        limits = (
            f"{row['low']:.0f} to {row['high']:.0f}"
            if np.isfinite(row["low"]) and np.isfinite(row["high"])
            else "open"
        )
        bound = f"{row['bound']} " if row["bound"] else ""
        rows.append((
            f.station.name, str(row["class_name"]), words.percent(float(chance)) if pd.notna(chance) else "–",
            f"{bound}{row['index']:.0f}", limits,
            f"{words.INPUT_WORDS.get(row['input'], row['input'])}, {int(row['year'])}",
        ))  # fmt: skip
    counts = pd.Series(classes, dtype="str").value_counts()
    lead = (
        f"Newest trophic class up to {year}: " + ", ".join(f"{n} {c}" for c, n in counts.items()) + "."
        if classes
        else "No station has readings enough for a trophic state index."
    )
    columns = ("Station", "Class", "Chance of it", "Index", "95 % limits", "From")
    return Section(
        key="index", title="Trophic state", lead=lead,
        blocks=(table("Trophic state index, the input that goes first at each station", columns, rows, (2, 3, 4)),),
        notes=every[0].trophic.notes[:1] if every else (), caution=CLARITY_CAUTION,
    )  # fmt: skip


def habitat_section(ws: Workspace, every: list[Facts], species: str, year: int, units: Units) -> Section:
    """Write the habitat of every water."""
    fish = ws.species[species].label
    blocks: list[Chart | Table] = []
    rows = []
    for f in {f.water.id: f for f in every}.values():
        if f.habitat is None:
            rows.append((f.water.name, "not known", "–", "–", "–"))
            continue
        yearly = with_basis(f.habitat.yearly, f.habitat)
        yearly = yearly[(yearly["year"] <= year) & yearly["covered"].astype(bool)].dropna(subset=["area_ha"])
        if yearly.empty:
            rows.append((f.water.name, "no covered year", "–", "–", "–"))
            continue
        last = yearly.iloc[-1]
        share = f"{100 * last['share']:.1f} %" if math.isfinite(last["share"]) else "–"
        area = number(float(last["area_ha"]), "ha", 1, units)
        usual = (
            number(float(yearly["area_ha"].iloc[:-1].median()), "ha", 1, units) if len(yearly) > 1 else "–"
        )
        what = "light and warmth" if basis_of(f.habitat) == "light and temperature" else "light only"
        rows.append((f"{f.water.name} ({int(last['year'])})", what, area, usual, share))
    columns = ("Water", "Rests on", "Mean area", "Median of earlier years", "Share of the bed")
    blocks.append(
        table(f"Area that suits {fish.lower()}, mean over the open-water season", columns, rows, (2, 3, 4))
    )
    return Section(
        key="habitat", title=f"Habitat of a sight-feeding fish: {fish.lower()}", blocks=tuple(blocks),
        caution=HABITAT_CAUTION,
    )  # fmt: skip


def readings_section(ws: Workspace, every: list[Facts], period: Period) -> Section:
    """Write completeness and quality over all stations."""
    readings = readings_of(ws, None, period)
    labels = {p: ws.parameters[p].label for p in ws.parameters if (readings["parameter"] == p).any()}
    good = used(readings)
    days = good.drop_duplicates(["station", "local_date"])
    counts = days_by_column(days, period, list(ws.stations))
    counts.index = pd.Index([f.station.name for f in every])
    until = f"{last_day(ws, period):%Y-%m}"
    chart = charts_map.months_chart("months", counts, period=period, until=until)
    refused = refused_by_station(ws)
    total = sum(refused.values())
    notes = []
    if total:
        where = ", ".join(f"{ws.stations[s].name} {n}" for s, n in sorted(refused.items()))
        notes.append(
            f"{count_text(total, 'row')} of loaded files (of any year) were refused and are in no number here: {where}."
        )
    return Section(
        key="data", title="Completeness and quality of the readings",
        lead=f"{count_text(len(readings), 'reading')} {period.within}, {len(readings) - len(good)} left out for "
        "their flag.",
        blocks=(chart, flag_table(readings, labels, period)), notes=tuple(notes),
    )  # fmt: skip


def days_by_column(days: pd.DataFrame, period: Period, stations: list[str]) -> pd.DataFrame:
    """Count days with readings by station and month of a period; by year when there are many months."""
    by_year = len(period.months()) > charts_map.MOST_MONTHS
    columns = [str(y) for y in period.years] if by_year else [f"{y}-{m:02}" for y, m in period.months()]
    when = days["local_date"].dt.strftime("%Y" if by_year else "%Y-%m")
    return pd.crosstab(days["station"], when).reindex(index=stations, columns=columns, fill_value=0)


def methods_section(ws: Workspace, every: list[Facts], period: Period) -> Section:
    """List methods and sources."""
    s = ws.config.standing
    lines = [
        QUALIFIER_METHOD, SEASON_METHOD,
        STANDING_METHOD.format(
            high=s.high, low=s.low, window=s.window_days, years=s.min_years, readings=s.min_readings
        ),
        "Trend: Seasonal Kendall test with the covariance between seasons where the record is long enough; Theil-Sen "
        "slope with 95 % limits; p adjusted for many tests.",
    ]  # fmt: skip
    lines += period_method(period, last_day(ws, period).year)
    lines += sorted({f.habitat.method for f in every if f.habitat is not None})[:1]
    keys = ["disc", "flags", "seasonal", "slope", "many", "words", "index", "habitat"]
    return Section(
        key="methods", title="Methods and sources",
        blocks=(list_of("How it was done", lines), list_of("Sources", [SOURCES[k] for k in keys])),
    )  # fmt: skip
