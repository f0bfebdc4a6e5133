"""The parts of a report on one station."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.figures.shown import (
    Units,
    date_text,
    number,
    p_text,
    parameter_number,
    shown_unit,
    to_shown,
)
from fathomlight.figures.theme import STANDING_GLYPHS, STANDING_WORDS
from fathomlight.model import Flag
from fathomlight.report import charts_long, charts_map, charts_year, words
from fathomlight.report.charts import WIDTH_IN, Chart
from fathomlight.report.completeness import completeness
from fathomlight.report.document import Section, Table, table
from fathomlight.report.facts import median_of
from fathomlight.report.period import Period
from fathomlight.report.sources import (
    CLARITY_CAUTION,
    FIELD_CAUTION,
    HABITAT_CAUTION,
    QUALIFIER_METHOD,
    SEASON_METHOD,
    SOURCES,
    STANDING_METHOD,
)
from fathomlight.seasons import season_cells

if TYPE_CHECKING:
    from fathomlight.report.facts import Facts
    from fathomlight.workspace import HabitatAnswer, Workspace

SEVERITY = {"act": "act", "look": "look into", "note": "note"}


def station_sections(ws: Workspace, facts: Facts, units: Units) -> list[Section]:
    """Return every part of a report on one station, in reading order."""
    return [
        place(ws, facts, units),
        season(ws, facts, units),
        change(ws, facts, units),
        index(facts),
        habitat(ws, facts, units),
        attention(ws, facts),
        completeness(ws, facts),
        methods(ws, facts),
        cautions(facts),
    ]


def place(ws: Workspace, facts: Facts, units: Units) -> Section:
    """Where the station is, and the facts worth knowing of it."""
    here, water = facts.station, facts.water
    rows = ws.standings(facts.parameter.name)
    rows = rows[rows["water"] == water.id]
    shore = shorelines_of(ws.shorelines(), {water.id})
    title = f"{water.name} and its stations"
    neighbours = len(rows) - 1
    caption = f"{here.name} in {water.name}" + (f", with {neighbours} other stations." if neighbours else ".")
    chart = charts_map.map_chart(
        "map", rows, shore, title=title, caption=caption, units=units, chosen=here.id, width=3.4
    )
    depth = "not known" if here.bottom_depth_m is None else number(here.bottom_depth_m, "m", 1, units)
    deepest = "not known" if water.max_depth_m is None else number(water.max_depth_m, "m", 1, units)
    entries = [
        ("Station", f"{here.name} ({here.id})"),
        ("Water", f"{water.name}, {water.kind}"),
        ("Position", f"{here.latitude:.4f}, {here.longitude:.4f}"),
        ("Depth at the station", depth),
        ("Greatest depth of the water", deepest),
        ("Planned pause between readings", f"at most {here.schedule_days:g} days in the open-water season"),
    ]
    return Section(
        key="place", title="Where", lead=water.description, beside=True,
        blocks=(chart, table("The station", ("", ""), entries)),
    )  # fmt: skip


def shorelines_of(collection: Mapping[str, Any], waters: set[str]) -> dict[str, Any]:
    """Return the shorelines of some waters only."""
    features = [
        f for f in collection.get("features", []) if (f.get("properties") or {}).get("water") in waters
    ]
    return {"type": "FeatureCollection", "features": features}


def past_text(facts: Facts) -> str:
    """Return the past of a station in words."""
    return f"{facts.past_years[0]} to {facts.past_years[1]}" if facts.past_years else ""


def season_picture(facts: Facts, units: Units, width: float = WIDTH_IN) -> Chart:
    """Draw the period against its past."""
    return charts_year.season_chart(
        "season", facts.rows, facts.envelope, facts.parameter, facts.period,
        past=past_text(facts), place=facts.station.name, units=units,
        width=width,
    )  # fmt: skip


def season(ws: Workspace, facts: Facts, units: Units) -> Section:
    """Write the period against its past."""
    chart = season_picture(facts, units)
    what = facts.parameter
    cells = ws.season_cells(facts.station.id, what.name)
    whole = facts.period.whole_year
    if whole:
        now = cells[cells["year"] == facts.year]
    else:
        now = season_cells(facts.rows.assign(station=facts.station.id, parameter=what.name), ws.seasons)
    rows = []
    for cell in now.to_dict("records"):
        before = cells[(cells["season"] == cell["season"]) & (cells["year"] < facts.period.first.year)]
        usual, sign = median_of(before)
        rows.append((
            cell["season"] if whole else f"{cell['season']} {cell['year']}",
            parameter_number(cell["value"], what, units, cell["qualifier"]), cell["count"],
            parameter_number(usual, what, units, sign), len(before),
        ))  # fmt: skip
    columns = (
        "Season",
        f"Median {facts.year}" if whole else "Median",
        "Readings",
        "Median of the past",
        "Years",
    )
    return Section(
        key="season",
        title=f"{facts.period.label} against its past",
        lead=f"{_latest(facts)}: {words.standing_words(facts, units)}",
        blocks=(chart, table(f"Seasons {facts.period.of}", columns, rows, (1, 2, 3, 4))),
        notes=facts.standing.notes,
        caution=CLARITY_CAUTION,
    )


def _latest(facts: Facts) -> str:
    """Name the latest reading; the year belongs to it where the period does not say it."""
    if facts.period.whole_year or facts.standing.date is None:
        return "Latest"
    return f"Latest of the period ({date_text(facts.standing.date)})"


def change(ws: Workspace, facts: Facts, units: Units) -> Section:
    """Write trend, certainty and step."""
    answer, what = facts.trend, facts.parameter
    said = words.trend_words(answer, what, units)
    said = f"{said[:1].upper()}{said[1:]}."
    s = answer.seasonal
    small = (
        f"{s.n} season values, {answer.n_readings} readings; {p_text(s.p)}; the line turns about the middle of the "
        f"record. {100 * s.coverage:.0f} % of the season values from first to last year are there."
        if np.isfinite(s.p) and s.n_times >= words.LEAST_YEARS
        else f"{s.n} season values, {answer.n_readings} readings."
    )
    spoken = s.n_times >= words.LEAST_YEARS
    line = ws.trend_line(answer) if spoken else ws.trend_line(answer).iloc[:0]
    chart = charts_long.trend_chart(
        "trend", answer.yearly, answer.cells, line, what, meaning=answer.clarity, words=said, small=small,
        place=facts.station.name, units=units,
    )  # fmt: skip
    panels = charts_long.seasons_chart(
        "seasons",
        answer.cells,
        [x.name for x in ws.seasons.seasons],
        what,
        place=facts.station.name,
        units=units,
    )
    step = answer.change_point
    lead = said
    if spoken and np.isfinite(step.p) and step.p < 0.05:
        lead += (
            f" A single change of level after {int(step.time)} would fit as well (from "
            f"{parameter_number(step.median_before, what, units)} to "
            f"{parameter_number(step.median_after, what, units)}, {p_text(step.p)}): "
            "ask whether water, method or place changed then."
        )
    return Section(
        key="change", title="Is it changing", lead=lead,
        blocks=(chart, panels, _season_table(facts, units)) if spoken else (chart, panels),
        notes=(*whole_years(facts), *answer.notes),
    )  # fmt: skip


def whole_years(facts: Facts) -> tuple[str, ...]:
    """Say on which years the trend rests, where that is not plain from the period."""
    if facts.period.whole_year:
        return ()
    first, last = facts.trend.first_year, facts.trend.last_year
    return (
        f"The trend rests on every reading of the years {first} to {last}, not on those of the period alone.",
    )


def _season_table(facts: Facts, units: Units) -> Table:
    unit = facts.parameter.unit
    rows = []
    for r in facts.trend.by_season.to_dict("records"):
        slope = 10 * float(to_shown(r["slope"], unit, units, difference=True))
        rows.append((r["season"], r["n"], words.signed(slope), p_text(r["p"])))
    return table(
        "The trend season by season",
        ("Season", "Years", f"Slope [{shown_unit(unit, units)} a decade]", "p"),
        rows, (1, 2, 3),
    )  # fmt: skip


def index(facts: Facts) -> Section:
    """Write the trophic state with class probabilities."""
    covered = words.covered_index(facts)
    newest = words.latest_index(facts)
    if not newest:
        return Section(key="index", title="Trophic state", lead=words.index_lead(facts))
    year = int(newest["year"])
    classes = words.class_columns(covered)
    rows = covered[covered["year"] == year]
    name = facts.station.name
    blocks: list[Chart | Table] = [charts_long.index_chart("index", covered, place=name)]
    blocks.append(charts_long.chances_chart("chances", rows, classes, year=year, place=name))
    listed = []
    for r in rows.to_dict("records"):
        limits = (
            f"{r['low']:.0f} to {r['high']:.0f}"
            if np.isfinite(r["low"]) and np.isfinite(r["high"])
            else "open"
        )
        chances = [words.percent(float(r[f"p: {c}"])) if pd.notna(r[f"p: {c}"]) else "–" for c in classes]
        bound = f"{r['bound']} " if r["bound"] else ""
        listed.append(
            (
                words.INPUT_WORDS.get(r["input"], r["input"]),
                r["n"],
                f"{bound}{r['index']:.0f}",
                limits,
                *chances,
            )
        )
    blocks.append(
        table(
            f"Index and class probabilities, {year}",
            ("Input", "Days", "Index", "95 % limits", *(c.capitalize() for c in classes)),
            listed,
            range(1, 4 + len(classes)),
        )
    )
    deviations = facts.trophic.deviations
    pattern = deviations[deviations["year"] == year]
    lead = words.index_lead(facts)
    if len(pattern) and pattern["pattern"].iloc[0]:
        lead += f" How the inputs lie to each other: {pattern['pattern'].iloc[0]}."
    if year < facts.year:
        lead += f" ({facts.year} itself has too few readings.)"
    return Section(
        key="index", title="Trophic state", lead=lead, blocks=tuple(blocks),
        notes=words.merge_notes(facts.trophic.notes), caution=CLARITY_CAUTION,
    )  # fmt: skip


def habitat(ws: Workspace, facts: Facts, units: Units) -> Section:
    """Write what light and warmth give a sight-feeding fish."""
    answer = facts.habitat
    title = "Habitat of a sight-feeding fish"
    if answer is None:
        return Section(
            key="habitat", title=title, lead="Readings of this water are too few to tell the habitat."
        )
    fish = ws.species[answer.species].label
    yearly = with_basis(answer.yearly, answer)
    yearly = yearly[yearly["year"] <= facts.year]
    with_limits = "low" in yearly and bool(yearly["low"].notna().any())
    chart = charts_long.habitat_chart(
        "habitat", yearly, fish=fish, water=facts.water.name, units=units, has_interval=with_limits
    )
    rows = yearly[yearly["covered"].astype(bool)].dropna(subset=["area_ha"])
    lead = chart.caption
    if len(rows):
        row = {str(k): v for k, v in rows.iloc[-1].to_dict().items()}
        lead = words.habitat_words(row, fish, units, basis_of(answer))
    notes = list(answer.notes)
    if with_limits and len(rows) and not (rows["low"] <= rows["area_ha"]).iloc[-1]:
        notes.append(
            "The interval comes from many repeats with the readings shaken; where habitat bends sharply with light it "
            "need not lie about the estimate."
        )
    return Section(
        key="habitat", title=f"{title}: {fish.lower()}", lead=lead, blocks=(chart,), notes=tuple(notes),
        caution=HABITAT_CAUTION,
    )  # fmt: skip


def with_basis(yearly: pd.DataFrame, answer: HabitatAnswer) -> pd.DataFrame:
    """Return the yearly habitat; where temperature is missing, the area with suitable light stands in."""
    if yearly["area_ha"].notna().any() or answer.uncertainty is None:
        return yearly
    areas = answer.uncertainty.years.set_index("year")["area_m2"] / 1e4
    return yearly.assign(area_ha=yearly["year"].map(areas))


def basis_of(answer: HabitatAnswer) -> str:
    """Return what a habitat rests on: light and temperature, or light alone."""
    return "light and temperature" if answer.yearly["area_ha"].notna().any() else "light"


def attention(ws: Workspace, facts: Facts) -> Section:
    """Write the episodes of the period."""
    return episodes_section(
        ws,
        facts.episodes,
        facts.period,
        facts.until,
        title=f"What asked for attention {facts.period.within}",
        place=facts.station.name,
    )


def episodes_section(
    ws: Workspace,
    rows: pd.DataFrame,
    period: Period,
    until: Any,
    *,
    title: str,
    place: str,
    several: bool = False,
) -> Section:
    """Write episodes: a picture in time, and a table."""
    names = [r.replace("-", " ") for r in rows["rule"]]
    what = [f"{n}: {r}" for n, r in zip(rows["name"], names, strict=True)] if several else names
    drawn = rows.assign(what=what)
    chart = charts_year.episodes_chart(
        "episodes", drawn, period.first, period.last, today=until, title=f"Episodes {period.within}, {place}"
    )
    listed = [
        (
            SEVERITY.get(r["severity"], r["severity"]), r["state"], date_text(r["opened"]),
            "goes on" if pd.isna(r["over"]) else date_text(r["over"]), r["message"],
        )
        for r in rows.to_dict("records")
    ]  # fmt: skip
    columns = ("Severity", "State", "Opened", "Over", "What")
    n_open = int((rows["state"] == "open").sum())
    lead = (
        "No rule asked for attention."
        if rows.empty
        else f"{len(rows)} {'episode' if len(rows) == 1 else 'episodes'}, {n_open} still open and not seen."
    )
    if not ws.rules:
        lead = "No rule is set up here, so nothing could ask for attention."
    blocks: tuple[Chart | Table, ...] = (chart,)
    if listed:
        blocks += (table("Episodes", columns, listed),)
    return Section(key="attention", title=title, lead=lead, blocks=blocks)


def methods(ws: Workspace, facts: Facts) -> Section:
    """List every method used, and its source."""
    s = ws.config.standing
    texts = [
        QUALIFIER_METHOD, SEASON_METHOD,
        STANDING_METHOD.format(
            high=s.high, low=s.low, window=s.window_days, years=s.min_years, readings=s.min_readings
        ),
        facts.trend.method,
    ]  # fmt: skip
    if np.isfinite(facts.trend.change_point.p):
        texts.append(facts.trend.change_point.method)
    texts += period_method(facts.period, facts.year)
    texts += re.split(r"(?<=\.) (?=Mean of)", facts.trophic.method)
    keys = ["disc", "flags", "seasonal", "slope", "step", "words", "index"]
    if facts.habitat is not None:
        texts.append(facts.habitat.method)
        keys.append("habitat")
    lines = words.gather_methods(t for t in texts if t)
    return Section(
        key="methods", title="Methods and sources",
        blocks=(list_of("How it was done", lines), list_of("Sources", [SOURCES[k] for k in keys])),
    )  # fmt: skip


def period_method(period: Period, year: int) -> list[str]:
    """Say what a report on a free period takes for its past and tells by whole years; nothing for a year."""
    if period.whole_year:
        return []
    return [
        f"Readings and episodes are those {period.of}; their past is the years before {period.first.year}. Trend, "
        f"trophic state and habitat are told by whole years, up to {year}."
    ]


def list_of(caption: str, lines: list[str]) -> Table:
    """Return lines as a list with a heading."""
    return table(caption, ("",), [(line,) for line in lines])


def cautions(facts: Facts) -> Section:
    """Say what this report does not say."""
    lines = [CLARITY_CAUTION]
    if facts.habitat is not None:
        lines.append(HABITAT_CAUTION)
    lines.append(FIELD_CAUTION)
    return Section(key="cautions", title="Cautions", notes=tuple(lines))


STANDING_CELL = {k: f"{STANDING_GLYPHS[k]} {v}" for k, v in STANDING_WORDS.items()}
"""A standing as a cell of a table: shape and words."""

FLAG_WORDS = {int(f): f.name.lower().replace("_", " ") for f in Flag}
