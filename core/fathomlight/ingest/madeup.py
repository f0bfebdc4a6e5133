"""Make up a recipe for a file that no ready recipe reads, from its header and first rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fathomlight.errors import RecipeError
from fathomlight.ingest.guess import ColumnGuess, guess_column, is_unit_row, parameter_of_name
from fathomlight.ingest.peek import Peek
from fathomlight.ingest.proposal import Proposal, Question
from fathomlight.ingest.raw import unique_header
from fathomlight.ingest.recipe import Recipe, plain_name
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
    peek: Peek, parameters: Mapping[str, Parameter], stations: Sequence[Station], now: np.datetime64
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

    Returns
    -------
    Proposal
        Never certain.

    Raises
    ------
    RecipeError
        No header was found, or no column looks measured.
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
    names = station_names(stations, {})
    guesses = []
    for i, title in enumerate(header):
        texts = [row[i].strip() for row in rows]
        kinds = [t for t in dict.fromkeys(texts) if t]
        share = sum(not names.look_up(t)[1] for t in kinds) / len(kinds) if kinds else 0.0
        label = units.cells[i].strip() if units and i < len(units.cells) else ""
        guesses.append(guess_column(title, label, texts, parameters, share, now, decimal))
    guesses = _one_each(guesses)
    recipe, questions, notes = _assemble(peek, guesses, rows, head, units, decimal, parameters)
    sample = tuple(dict(zip(header, row, strict=True)) for row in rows[:10])
    confidence = float(np.mean([g.confidence for g in guesses if g.role != "unknown"] or [0.0]))
    return Proposal(
        recipe=recipe,
        certain=False,
        confidence=round(confidence * 0.9 ** len(questions), 3),
        questions=tuple(questions),
        columns=tuple(guesses),
        header=header,
        sample=sample,
        notes=tuple(notes),
    )


def _decimal(delimiter: str, rows: Sequence[Sequence[str]]) -> str:
    if delimiter == ",":
        return "."
    cells = [c.strip() for row in rows for c in row]
    comma = sum(bool(re.fullmatch(r"[<>]?\s*-?\d+,\d+", c)) for c in cells)
    point = sum(bool(re.fullmatch(r"[<>]?\s*-?\d+\.\d+", c)) for c in cells)
    return "," if comma > point else "."


def _one_each(guesses: list[ColumnGuess]) -> list[ColumnGuess]:
    """Let only the surest column be the station, the date, ...; the others are unknown."""
    out = list(guesses)
    for role in ("station", "date", "time", "depth", "parameter", "unit", "zone", "replicate"):
        at = [i for i, g in enumerate(out) if g.role == role]
        if len(at) > 1:
            keep = max(at, key=lambda i: (out[i].confidence, -i))
            for i in at:
                if i != keep:
                    old = out[i]
                    out[i] = ColumnGuess(header=old.header, role="unknown", confidence=0.3, sample=old.sample)
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
            questions.append(_unit_question(by_role["depth"], "depth.unit", ("m", "ft")))
    data["values"] = (
        _long_values(by_role, guesses, rows, parameters, questions)
        if long
        else _wide_values(by_role, guesses, questions)
    )
    if not data["values"]:
        raise RecipeError(
            "no column of this file looks like a measured value", where=peek.name,
            got=", ".join(g.header for g in guesses), expected="a column such as Secchi (ft) or Temperature",
            fix="Write a recipe, or rename the columns.",
        )  # fmt: skip
    if data["not_imported"]:
        notes.append("not imported, as comments can hold people's names: " + ", ".join(data["not_imported"]))
    unknown = [g.header for g in guesses if g.role == "unknown" and g.header]
    if unknown:
        notes.append("columns that stay unread: " + ", ".join(unknown))
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
    date = by_role.get("date")
    if date is None:
        data["time"] = {"column": "Date"}
        questions.append(Question(text="Which column holds the date?", key="time.column"))
        return
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
    if "zone" in by_role:
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


def _unit_question(guess: ColumnGuess, key: str, choices: tuple[str, ...] = ()) -> Question:
    sample = ", ".join(guess.sample[:3])
    return Question(
        text=f"What unit is {guess.header!r} in? Its values are like {sample}; {guess.unit} was assumed.",
        column=guess.header, choices=tuple(dict.fromkeys((guess.unit, *choices))), key=key,
    )  # fmt: skip


def _bottom_codes(guess: ColumnGuess | None) -> list[str]:
    if guess is None:
        return []
    low = {s.casefold(): s for s in guess.sample}
    return [text for key, text in low.items() if key in ("b", "y", "yes", "x", "true", "1", "vob", "bottom")]


def _wide_values(
    by_role: dict[str, ColumnGuess], guesses: list[ColumnGuess], questions: list[Question]
) -> list[dict[str, Any]]:
    out = []
    for i, guess in enumerate(g for g in guesses if g.role == "value" and g.parameter):
        entry: dict[str, Any] = {"column": guess.header, "parameter": guess.parameter}
        if not guess.unit_known:
            entry["unit"] = guess.unit
            questions.append(_unit_question(guess, f"values[{i}].unit"))
        bottom = by_role.get("bottom")
        if guess.parameter == "secchi" and bottom is not None:
            codes = _bottom_codes(bottom)
            if codes:
                others = [s for s in bottom.sample if s not in codes]
                entry |= {
                    "qualifier_column": bottom.header,
                    "on_bottom_codes": codes,
                    "equal_codes": ["", *others],
                }
                questions.append(
                    Question(
                        text=(
                            f"In {bottom.header!r}, does {codes[0]!r} mean that the disc was seen "
                            f"on the bottom?"
                        ),
                        column=bottom.header,
                        key=f"values[{i}].on_bottom_codes",
                    )
                )
        out.append(entry)
    repeated = {e["parameter"] for e in out if [x["parameter"] for x in out].count(e["parameter"]) > 1}
    for name in repeated:
        for number, entry in enumerate((e for e in out if e["parameter"] == name), start=1):
            entry["replicate"] = number
        questions.append(
            Question(text=f"Several columns are {name}: are they repeated readings?", key="values")
        )
    return out


def _long_values(
    by_role: dict[str, ColumnGuess],
    guesses: list[ColumnGuess],
    rows: list[list[str]],
    parameters: Mapping[str, Parameter],
    questions: list[Question],
) -> list[dict[str, Any]]:
    value = next(g for g in guesses if g.role == "value" and not g.parameter)
    entry: dict[str, Any] = {"column": value.header, "parameter_column": by_role["parameter"].header}
    if "unit" in by_role:
        entry["unit_column"] = by_role["unit"].header
    at, unit_at = (
        guesses.index(by_role["parameter"]),
        guesses.index(by_role["unit"]) if "unit" in by_role else None,
    )
    units = {
        row[at].strip(): row[unit_at].strip() if unit_at is not None else ""
        for row in rows
        if row[at].strip()
    }
    meant = {text: parameter_of_name(plain_name(text), parameters, unit) for text, unit in units.items()}
    entry["parameters"] = {text: name for text, name in meant.items() if name}
    if entry["parameters"]:
        listed = ", ".join(f"{text} = {parameters[name].label}" for text, name in entry["parameters"].items())
        questions.append(
            Question(
                text=f"Do these mean: {listed}?",
                column=by_role["parameter"].header,
                key="values[0].parameters",
            )
        )
    for text in (t for t, name in meant.items() if not name):
        questions.append(
            Question(
                text=f"What is {text!r}? It is not loaded unless you say.",
                column=by_role["parameter"].header,
                choices=("", *parameters),
                key="values[0].parameters",
            )
        )
    entry["skip_parameters"] = [t for t, name in meant.items() if not name]
    for role, key in (
        ("qualifier", "qualifier_column"),
        ("replicate", "replicate_column"),
        ("method", "method_column"),
        ("limit", "limit_column"),
    ):
        if role in by_role:
            entry[key] = by_role[role].header
    return [entry]


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
