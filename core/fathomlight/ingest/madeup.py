"""Make up a recipe for a file that no ready recipe reads, from its header and first rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fathomlight.errors import RecipeError
from fathomlight.ingest.guess import ColumnGuess, guess_column, is_unit_row
from fathomlight.ingest.madeup_values import long_values, unit_question, unread, wide_values
from fathomlight.ingest.meanings import ColumnMeaning, by_header, contradictions, meant
from fathomlight.ingest.peek import Peek
from fathomlight.ingest.proposal import Proposal, Question
from fathomlight.ingest.raw import unique_header
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.stations import station_names
from fathomlight.ingest.text import Record
from fathomlight.model import Parameter, Station

__all__ = ["make_up"]


def _numbers(cells: Sequence[str]) -> int:
    return sum(bool(re.fullmatch(r"[<>]?\s*[+-]?[\d.,:/ -]+", c.strip())) for c in cells if c.strip())


def _find_table(records: Sequence[Record], name: str) -> tuple[Record, Record | None]:
    """Header and unit row: the first row of text that is as wide as the rows with numbers below it."""
    filled = [r for r in records if any(c.strip() for c in r.cells) and not r.cells[0].startswith("#")]
    widths = [sum(bool(c.strip()) for c in r.cells) for r in filled]
    usual = Counter(len(r.cells) for r in filled if _numbers(r.cells)).most_common(1)
    for i, record in enumerate(filled):
        below = filled[i + 1 : i + 6]
        if widths[i] < 2 or _numbers(record.cells) > widths[i] / 3:
            continue
        if usual and len(record.cells) < usual[0][0] - 1:
            continue
        if any(_numbers(r.cells) for r in below) and all(
            len(r.cells) <= len(record.cells) + 1 for r in below[:1]
        ):
            units = below[0] if below and is_unit_row(below[0].cells) else None
            return record, units
    raise RecipeError(
        "no header was found: no line of column names with numbers below it", where=name,
        got=", ".join(filled[0].cells[:8]) if filled else "an empty file",
        fix="Write a recipe with file.header_rows, or put column names above the table.",
    )  # fmt: skip


def make_up(
    peek: Peek,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    now: np.datetime64,
    columns: Mapping[str, ColumnMeaning] | None = None,
) -> Proposal:
    """Make up a recipe.

    Parameters
    ----------
    peek : Peek
        The beginning of the file.
    parameters : mapping of str to Parameter
        What may be measured.
    stations : sequence of Station
        Where.
    now : numpy.datetime64
        The present, UTC.
    columns : mapping of str to ColumnMeaning, optional
        What a person says columns are; it goes before what is guessed.

    Returns
    -------
    Proposal
        Never certain; without a recipe while the columns contradict themselves.

    Raises
    ------
    RecipeError
        No header was found.
    ArgumentError
        A column that the file does not have, or a meaning that does not exist.
    """
    head, units = _find_table(peek.records, peek.name)
    cells = list(head.cells)
    while cells and not cells[-1].strip():
        cells.pop()
    header = unique_header(cells)
    last = (units or head).last
    rows = [
        [*r.cells, *[""] * len(header)][: len(header)]
        for r in peek.records
        if r.first > last and any(r.cells)
    ]
    decimal = _decimal(peek.delimiter, rows)
    said = by_header(columns or {}, header)
    guesses = _one_each(_guesses(header, rows, units, decimal, parameters, stations, now, said))
    problems = contradictions(guesses, parameters)
    recipe: Recipe | None = None
    questions: list[Question] = []
    notes: list[str] = []
    if not problems:
        recipe, questions, notes = _assemble(peek, guesses, rows, head, units, decimal, parameters)
    sample = tuple(dict(zip(header, row, strict=True)) for row in rows[:10])
    confidence = float(np.mean([g.confidence for g in guesses if g.role != "unknown"] or [0.0]))
    return Proposal(
        recipe=recipe,
        certain=False,
        confidence=0.0 if problems else round(confidence * 0.9 ** len(questions), 3),
        questions=tuple(questions),
        problems=tuple(problems),
        columns=tuple(guesses),
        header=header,
        sample=sample,
        notes=tuple(notes),
        peek=peek,
    )


def _guesses(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    units: Record | None,
    decimal: str,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    now: np.datetime64,
    said: Mapping[str, ColumnMeaning],
) -> list[ColumnGuess]:
    names = station_names(stations, {})
    guesses = []
    for i, title in enumerate(header):
        texts = [row[i].strip() for row in rows]
        kinds = [t for t in dict.fromkeys(texts) if t]
        share = sum(not names.look_up(t)[1] for t in kinds) / len(kinds) if kinds else 0.0
        label = units.cells[i].strip() if units and i < len(units.cells) else ""
        guess = guess_column(title, label, texts, parameters, share, now, decimal)
        if title in said:
            guess = meant(guess, said[title], label, texts, parameters, share, now, decimal)
        guesses.append(guess)
    return guesses


def _decimal(delimiter: str, rows: Sequence[Sequence[str]]) -> str:
    if delimiter == ",":
        return "."
    cells = [c.strip() for row in rows for c in row]
    comma = sum(bool(re.fullmatch(r"[<>]?\s*-?\d+,\d+", c)) for c in cells)
    point = sum(bool(re.fullmatch(r"[<>]?\s*-?\d+\.\d+", c)) for c in cells)
    return "," if comma > point else "."


def _one_each(guesses: list[ColumnGuess]) -> list[ColumnGuess]:
    """Let only the surest guessed column be the station, the date, ..., and none beside one a person named."""
    out = list(guesses)
    for role in ("station", "date", "time", "depth", "parameter", "unit", "zone", "replicate"):
        at = [i for i, g in enumerate(out) if g.role == role]
        guessed = [i for i in at if not out[i].stated]
        if len(at) > len(guessed):
            keep = -1
        elif len(at) > 1:
            keep = max(at, key=lambda i: (out[i].confidence, -i))
        else:
            continue
        for i in guessed:
            if i != keep:
                out[i] = replace(
                    ColumnGuess(header=out[i].header, role="unknown", confidence=0.3), sample=out[i].sample
                )
    return out


def _assemble(
    peek: Peek,
    guesses: list[ColumnGuess],
    rows: list[list[str]],
    head: Record,
    units: Record | None,
    decimal: str,
    parameters: Mapping[str, Parameter],
) -> tuple[Recipe, list[Question], list[str]]:
    questions: list[Question] = []
    notes: list[str] = []
    by_role = {g.role: g for g in guesses if g.role not in ("value", "unknown", "not imported")}
    long = "parameter" in by_role and any(g.role == "value" and not g.parameter for g in guesses)
    data: dict[str, Any] = {
        "name": "proposed-" + re.sub(r"[^a-z0-9]+", "-", Path(peek.name).stem.lower()).strip("-")[:40],
        "description": f"Proposed from {peek.name}",
        "layout": "long" if long else "wide",
        "file": {"header_rows": [head.first], "decimal": decimal},
        "not_imported": [g.header for g in guesses if g.role == "not imported"],
    }
    if head.last != head.first or peek.kind == "csv":
        data["file"]["delimiter"] = peek.delimiter
    if any(r.cells and r.cells[0].startswith("#") for r in peek.records):
        data["file"]["comment"] = "#"
    if units is not None:
        data["file"]["unit_row"] = units.first
    if peek.sheet:
        data["file"]["sheet"] = peek.sheet
    _station_part(data, by_role, questions)
    _time_part(data, by_role, questions)
    if "depth" in by_role:
        data["depth"] = {"column": by_role["depth"].header, "unit": by_role["depth"].unit}
        if not by_role["depth"].unit_known:
            questions.append(unit_question(by_role["depth"], "depth.unit", ("m", "ft")))
    data["values"] = (
        long_values(by_role, guesses, rows, parameters, questions)
        if long
        else wide_values(guesses, questions)
    )
    if data["not_imported"]:
        notes.append("not imported, as comments can hold people's names: " + ", ".join(data["not_imported"]))
    rest = unread(guesses, data["values"], long)
    if rest:
        notes.append("columns that stay unread: " + ", ".join(rest))
    if "replicate" not in by_role and "time" not in by_role and _repeats(guesses, rows):
        data["repeats"] = "replicates"
        questions.append(
            Question(
                text="Some rows share station and date but differ: are they repeated readings of one visit?",
                choices=("replicates", "as is"), key="repeats",
            )
        )  # fmt: skip
    if not questions:
        questions.append(Question(text="Is every column read as shown?"))
    return Recipe.model_validate(data), questions, notes


def _station_part(data: dict[str, Any], by_role: dict[str, ColumnGuess], questions: list[Question]) -> None:
    station = by_role.get("station")
    if station is None:
        data["station"] = {"preamble": "Station"}
        questions.append(Question(text="Which station is this file from?", key="station.fixed"))
        return
    data["station"] = {"column": station.header}
    if station.confidence < 0.9:
        questions.append(
            Question(
                text=f"Does {station.header!r} hold the station? Some of its texts are not known stations.",
                column=station.header, key="station.aliases",
            )
        )  # fmt: skip


def _time_part(data: dict[str, Any], by_role: dict[str, ColumnGuess], questions: list[Question]) -> None:
    date = by_role["date"]
    data["time"] = {"column": date.header, "formats": list(date.formats[:1])}
    orders = {"".join(re.findall(r"%([dmbyY])", f)).lower() for f in date.formats}
    if len(orders) > 1:
        questions.append(
            Question(
                text=(
                    f"In {date.header!r}, does the day or the month come first? {date.sample[0]!r} "
                    f"can be both."
                ),
                column=date.header,
                choices=date.formats,
                key="time.formats",
            )
        )
    if "time" in by_role:
        data["time"]["time_column"] = by_role["time"].header
    zone = date.zone or (by_role["time"].zone if "time" in by_role else "")
    if zone:
        data["time"]["zone"] = zone
    elif "zone" in by_role:
        data["time"]["zone_column"] = by_role["zone"].header
    elif re.search(r"\b(utc|gmt)\b", date.header.casefold()):
        data["time"]["zone"] = "UTC"
    elif ("time" in by_role or any(":" in s for s in date.sample)) and not all(
        s.endswith("Z") for s in date.sample
    ):
        questions.append(
            Question(
                text="Are the clock times local time at the station, or UTC?", column=date.header,
                choices=("station", "UTC"), key="time.zone",
            )
        )  # fmt: skip


def _repeats(guesses: list[ColumnGuess], rows: list[list[str]]) -> bool:
    """Say whether rows share everything that names a reading."""
    key = [i for i, g in enumerate(guesses) if g.role in ("station", "date", "depth", "parameter")]
    if not key or "station" not in {guesses[i].role for i in key}:
        return False
    seen: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        where = tuple(row[i] for i in key)
        if where in seen and seen[where] != row:
            return True
        seen[where] = row
    return False
