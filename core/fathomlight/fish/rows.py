"""Row checks for tables of surveys, catches and fish: what is taken, refused and why, and doubted.

Pure functions: a reader of files calls them with the columns already named as in :mod:`fathomlight.model`,
cells as text or typed, and passes the refused rows on. No row is dropped without a line in one of the three
tables.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError, UnitError
from fathomlight.fish.gears import EFFORT_UNITS, GEARS, effort_unit, gear_key
from fathomlight.fish.species import SPECIES, species_key
from fathomlight.model import (
    CATCH_COLUMNS,
    FISH_COLUMNS,
    REFUSED_COLUMNS,
    SURVEY_COLUMNS,
    Result,
    empty_frame,
)

_MOST_PASSES, _MOST_FISH = 99, 10**9
_EMPTY_WORDS = frozenset({"", "na", "n/a", "nan", "nat", "none", "null", ".", "-"})


@dataclass(frozen=True, kw_only=True)
class RowCheck(Result):
    """What became of the rows of one table.

    Attributes
    ----------
    accepted : pandas.DataFrame
        Rows in the columns and types of :mod:`fathomlight.model`.
    refused : pandas.DataFrame
        One line a fault (``REFUSED_COLUMNS``); a row with two faults has two lines.
    doubts : pandas.DataFrame
        The same columns: rows that were taken but deserve a look.
    repeated : int
        Rows left out because the same row came before in the table.
    """

    accepted: pd.DataFrame
    refused: pd.DataFrame
    doubts: pd.DataFrame
    repeated: int


@dataclass
class _Sheet:
    """A table under examination, with the faults found so far."""

    frame: pd.DataFrame
    file: str
    lines: np.ndarray
    faults: list[dict[str, object]] = field(default_factory=list)
    doubts: list[dict[str, object]] = field(default_factory=list)
    bad: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def text(self, column: str) -> pd.Series:
        """Cells as stripped text, empty where there is nothing."""
        if column not in self.frame:
            return pd.Series([""] * len(self.frame), dtype=object)
        cells = self.frame[column].reset_index(drop=True)
        out = cells.astype(object).where(cells.notna(), "").map(lambda cell: str(cell).strip())
        return out.mask(out.str.lower().isin(_EMPTY_WORDS), "")

    def _line(self, row: int, column: str, reason: str, remedy: str) -> dict[str, object]:
        cells = ["" if pd.isna(cell) else str(cell) for cell in self.frame.iloc[row]]
        raw = self.frame[column].iloc[row] if column in self.frame else ""
        return {
            "file": self.file,
            "line": int(self.lines[row]),
            "column": column,
            "value": "" if pd.isna(raw) else str(raw),
            "reason": reason,
            "remedy": remedy,
            "row_text": ", ".join(cells),
        }

    def refuse(self, mask: np.ndarray | pd.Series, column: str, reason: str, remedy: str) -> None:
        rows = np.flatnonzero(np.asarray(mask, dtype=bool)).tolist()
        self.faults += [self._line(row, column, reason, remedy) for row in rows]
        self.bad[rows] = True

    def doubt(self, mask: np.ndarray | pd.Series, column: str, reason: str, remedy: str) -> None:
        rows = np.flatnonzero(np.asarray(mask, dtype=bool) & ~self.bad).tolist()
        self.doubts += [self._line(row, column, reason, remedy) for row in rows]

    def required(self, column: str) -> pd.Series:
        text = self.text(column)
        self.refuse(text == "", column, f"{column} is empty", f"Give the {column} of this row.")
        return text

    def numbers(self, column: str, kind: str) -> np.ndarray:
        """Cells as numbers, NaN where empty; what is not a number is refused."""
        text = self.text(column)
        values = pd.to_numeric(text.where(text != "", None), errors="coerce").to_numpy(dtype=float)
        wrong = (text != "").to_numpy() & ~np.isfinite(values)
        self.refuse(wrong, column, f"{column} is not a number", f"Write {kind}, or leave the cell empty.")
        return np.where(np.isfinite(values), values, math.nan)

    def dates(self, column: str) -> pd.Series:
        if column in self.frame and pd.api.types.is_datetime64_any_dtype(self.frame[column]):
            stamps = self.frame[column].reset_index(drop=True)
            if stamps.dt.tz is not None:
                raise ArgumentError(
                    column, "survey times are local and carry no time zone", got=str(stamps.dt.tz)
                )
            return stamps.astype("datetime64[us]")
        text = self.text(column)
        stamps = pd.to_datetime(text.where(text != "", None), errors="coerce", format="ISO8601", utc=False)
        stamps = pd.Series(stamps).astype("datetime64[us]")
        wrong = (text != "") & stamps.isna()
        self.refuse(wrong, column, f"{column} is not a date", "Write it as 2025-07-24 or 2025-07-24 21:30.")
        return stamps

    def repeats(self, table: pd.DataFrame, key: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
        """Rows like the first good row of their key, and rows that share its key but differ from it."""
        same, other = np.zeros(len(table), dtype=bool), np.zeros(len(table), dtype=bool)
        good = table.loc[~self.bad]
        if good.empty:
            return same, other
        place = pd.Series(np.arange(len(good)))
        group = good.groupby(list(key), dropna=False, sort=False).ngroup().reset_index(drop=True)
        first = place.groupby(group).transform("min").to_numpy()
        alike = np.ones(len(good), dtype=bool)
        for name in good.columns:
            cells = good[name].to_numpy(dtype=object)
            alike &= (cells == cells[first]) | (pd.isna(cells) & pd.isna(cells[first]))
        later = first != place.to_numpy()
        same[~self.bad], other[~self.bad] = later & alike, later & ~alike
        return same, other

    def finish(self, columns: Mapping[str, str], data: dict[str, object], repeated: np.ndarray) -> RowCheck:
        table = pd.DataFrame(data)[list(columns)]
        keep = ~self.bad & ~repeated
        kept = table.loc[keep].reset_index(drop=True)
        return RowCheck(
            accepted=kept.astype(dict(columns)),
            refused=_report(self.faults),
            doubts=_report(self.doubts),
            repeated=int(np.sum(repeated & ~self.bad)),
        )


def _report(lines: list[dict[str, object]]) -> pd.DataFrame:
    if not lines:
        return empty_frame(REFUSED_COLUMNS)
    return (
        pd.DataFrame(lines)
        .astype(dict(REFUSED_COLUMNS))
        .sort_values("line", kind="stable", ignore_index=True)
    )


def _sheet(frame: pd.DataFrame, needed: Sequence[str], file: str, lines: Sequence[int] | None) -> _Sheet:
    absent = [name for name in needed if name not in frame.columns]
    if absent:
        raise ArgumentError(
            "frame",
            "columns are missing",
            got=", ".join(map(str, frame.columns)),
            expected=", ".join(needed),
            fix=f"Name the column(s) {', '.join(absent)} in the recipe.",
        )
    numbered = np.arange(2, len(frame) + 2) if lines is None else np.asarray(lines, dtype=np.int64)
    if numbered.shape != (len(frame),):
        raise ArgumentError(
            "lines", "one line number a row is needed", got=len(numbered), expected=str(len(frame))
        )
    return _Sheet(frame, file, numbered, bad=np.zeros(len(frame), dtype=bool))


def _efforts(sheet: _Sheet, gears: pd.Series) -> tuple[np.ndarray, list[str]]:
    """Effort in canonical units; NaN where unknown, never 0."""
    effort = sheet.numbers("effort", "the effort as a number above zero")
    sheet.refuse(
        effort <= 0,
        "effort",
        "effort must be above zero",
        "Leave the cell empty when the effort is unknown; leave the row out when the gear was not fished.",
    )
    text = sheet.text("effort_unit")
    known: dict[str, tuple[str, float]] = {}
    for name in text[text != ""].unique():
        with contextlib.suppress(UnitError):
            known[name] = effort_unit(name)
    sheet.refuse(
        np.isfinite(effort) & (text == "").to_numpy(),
        "effort_unit",
        "effort without a unit",
        "Give the unit, e.g. net-night, hour or m2.",
    )
    sheet.refuse(
        ((text != "") & ~text.isin(list(known))).to_numpy(),
        "effort_unit",
        "unknown unit of effort",
        f"Use one of {', '.join(EFFORT_UNITS)}, or a usual multiple such as min or miles.",
    )
    units = [known.get(name, (name, 1.0))[0] for name in text]
    effort = effort * np.array([known.get(name, (name, 1.0))[1] for name in text])
    for name in gears.unique():
        gear = GEARS.get(name)
        if gear is not None:
            odd = (gears == name).to_numpy() & np.array(
                [unit not in ("", *gear.units) for unit in units], dtype=bool
            )
            sheet.doubt(odd, "effort_unit", f"unusual for {name}", f"Usual: {', '.join(gear.units)}.")
    sheet.doubt(
        np.isnan(effort),
        "effort",
        "effort unknown: no catch per effort, and an absent species is not a zero",
        "Fill it in if the field sheet has it.",
    )
    return effort, units


def check_surveys(
    frame: pd.DataFrame,
    *,
    file: str = "",
    lines: Sequence[int] | None = None,
    waters: Collection[str] | None = None,
    latest: pd.Timestamp | None = None,
) -> RowCheck:
    """Check rows of a table of surveys.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns of ``SURVEY_COLUMNS``; ``survey``, ``water``, ``gear``, ``start`` are needed. Effort in any
        known unit.
    file : str
        Name to put in the refused rows.
    lines : sequence of int, optional
        Line number of each row; by default counting from 2.
    waters : collection of str, optional
        Known waters; other ones are refused.
    latest : pandas.Timestamp, optional
        Dates after this are refused (the caller knows what day it is).

    Returns
    -------
    RowCheck
        Effort in canonical units, NaN where unknown. A survey given twice with the same content is taken
        once; given twice with different content, the second is refused.

    Raises
    ------
    ArgumentError
        Needed columns are missing, or the line numbers do not fit.
    """
    sheet = _sheet(frame, ("survey", "water", "gear", "start"), file, lines)
    survey, water = sheet.required("survey"), sheet.required("water")
    gear = sheet.required("gear").map(gear_key)
    if waters is not None:
        strange = (water != "") & ~water.isin(list(waters))
        sheet.refuse(strange, "water", "this water is not known", "Correct the name, or add the water first.")
    start, end = sheet.dates("start"), sheet.dates("end")
    sheet.refuse(
        (sheet.text("start") == "").to_numpy() & start.isna().to_numpy(),
        "start",
        "start is empty",
        "Give the day the survey began.",
    )
    sheet.refuse(end < start, "end", "the survey ends before it starts", "Swap or correct the two times.")
    if latest is not None:
        sheet.refuse(start > latest, "start", "the survey lies in the future", "Correct the date.")
    effort, units = _efforts(sheet, gear)
    data: dict[str, object] = {
        "survey": survey,
        "water": water,
        "station": sheet.text("station"),
        "gear": gear,
        "start": start,
        "end": end,
        "effort": effort,
        "effort_unit": units,
        "note": sheet.text("note"),
    }
    table = pd.DataFrame(data)
    again, clash = sheet.repeats(table, ["survey"])
    sheet.refuse(
        clash,
        "survey",
        "another row of this table has the same survey but other content",
        "Give each survey its own name, or correct the row.",
    )
    return sheet.finish(SURVEY_COLUMNS, data, again)


def _common(sheet: _Sheet, surveys: Collection[str] | None) -> dict[str, object]:
    """Columns that catches and fish share."""
    survey = sheet.required("survey")
    if surveys is not None:
        strange = (survey != "") & ~survey.isin(list(surveys))
        sheet.refuse(strange, "survey", "no such survey", "Load the survey first, or correct its name.")
    species = sheet.required("species").map(species_key)
    passes = sheet.numbers("pass_number", "the number of the pass, from 1")
    passes = np.where(np.isnan(passes), 1.0, passes)
    sheet.refuse(
        (passes < 1) | (passes > _MOST_PASSES) | (passes != np.round(passes)),
        "pass_number",
        f"a pass number is a whole number from 1 to {_MOST_PASSES}",
        "Count passes from 1.",
    )
    mesh = sheet.numbers("mesh_mm", "the stretched mesh in mm")
    sheet.refuse(
        mesh <= 0, "mesh_mm", "a mesh must be above zero", "Leave the cell empty when it is unknown."
    )
    whole = np.where(sheet.bad, 1, passes).astype(np.int64)
    return {"survey": survey, "species": species, "pass_number": whole, "mesh_mm": mesh}


def check_catches(
    frame: pd.DataFrame,
    *,
    file: str = "",
    lines: Sequence[int] | None = None,
    surveys: Collection[str] | None = None,
) -> RowCheck:
    """Check rows of a table of catches.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns of ``CATCH_COLUMNS``; ``survey``, ``species``, ``count`` are needed, ``pass_number`` is 1 when
        absent.
    file, lines
        As in :func:`check_surveys`.
    surveys : collection of str, optional
        Known surveys; rows of other ones are refused.

    Returns
    -------
    RowCheck
        Species in one spelling. The same survey, species, pass and mesh with the same count is taken once
        (and counted); with another count it is refused, since it cannot be known which is right.

    Raises
    ------
    ArgumentError
        Needed columns are missing, or the line numbers do not fit.
    """
    sheet = _sheet(frame, ("survey", "species", "count"), file, lines)
    data = _common(sheet, surveys)
    count = sheet.numbers("count", "the number of fish")
    sheet.refuse(
        (sheet.text("count") == "").to_numpy(),
        "count",
        "count is empty",
        "Write 0 when the species was looked for and not caught.",
    )
    sheet.refuse(
        count < 0,
        "count",
        "a count cannot be below zero",
        "If this is a code for missing, leave the row out.",
    )
    sheet.refuse(count > _MOST_FISH, "count", "more fish than can be", "Check for a slip of the keys.")
    sheet.refuse(
        (count >= 0) & (count != np.round(count)),
        "count",
        "a count is a whole number",
        "Give the fish counted, not an expanded or per-effort number.",
    )
    whole = np.where(sheet.bad | np.isnan(count), 0, count).astype(np.int64)
    columns = {**data, "count": whole}
    table = pd.DataFrame(columns)[list(CATCH_COLUMNS)]
    again, clash = sheet.repeats(table, ["survey", "species", "pass_number", "mesh_mm"])
    sheet.refuse(
        clash,
        "count",
        "a second, different count for the same survey, species, pass and mesh",
        "Keep the right row, or tell pass or mesh apart.",
    )
    sheet.doubt(
        again, "count", "the same row again: taken once", "If these are two hauls, give each its own survey."
    )
    return sheet.finish(CATCH_COLUMNS, columns, again)


def check_fish(
    frame: pd.DataFrame,
    *,
    file: str = "",
    lines: Sequence[int] | None = None,
    surveys: Collection[str] | None = None,
) -> RowCheck:
    """Check rows of a table of measured fish.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns of ``FISH_COLUMNS``; ``survey``, ``species``, ``length_mm`` are needed (``length_mm`` may hold
        blanks).
    file, lines, surveys
        As in :func:`check_catches`.

    Returns
    -------
    RowCheck
        Two fish may be alike, so nothing counts as repeated. Doubtful: longer than 1.5 times trophy length,
        shorter than a tenth of stock length, or a relative weight outside 40 to 200 (common practice, no
        source): most often a wrong unit.

    Raises
    ------
    ArgumentError
        Needed columns are missing, or the line numbers do not fit.
    """
    sheet = _sheet(frame, ("survey", "species", "length_mm"), file, lines)
    data = _common(sheet, surveys)
    measured: dict[str, np.ndarray] = {}
    for column, kind in (("length_mm", "the total length in mm"), ("weight_g", "the weight in g")):
        measured[column] = sheet.numbers(column, kind)
        sheet.refuse(
            measured[column] <= 0, column, f"{column} must be above zero", "Leave the cell empty if unknown."
        )
    age = sheet.numbers("age_years", "the age in years")
    sheet.refuse(age < 0, "age_years", "an age cannot be below zero", "Leave the cell empty if unknown.")
    nothing = np.isnan(measured["length_mm"]) & np.isnan(measured["weight_g"]) & np.isnan(age)
    sheet.refuse(
        nothing & ~sheet.bad,
        "length_mm",
        "no length, weight or age",
        "Fish that were only counted belong in the table of catches.",
    )
    _doubt_sizes(sheet, pd.Series(data["species"]), measured["length_mm"], measured["weight_g"])
    columns = {**data, **measured, "age_years": age}
    return sheet.finish(FISH_COLUMNS, columns, np.zeros(len(frame), dtype=bool))


def _doubt_sizes(sheet: _Sheet, species: pd.Series, length: np.ndarray, weight: np.ndarray) -> None:
    for name in species.unique():
        known = SPECIES.get(name)
        if known is None:
            continue
        here = (species == name).to_numpy()
        stock, trophy = known.limits_mm[0], known.limits_mm[4]
        sheet.doubt(
            here & (length > 1.5 * trophy),
            "length_mm",
            f"very long for {name}",
            "Check the fish and the unit.",
        )
        sheet.doubt(
            here & (length < 0.1 * stock),
            "length_mm",
            f"very short for {name}",
            "Check the unit: mm are expected, not cm or inches.",
        )
        adult = known.standard_weights.get("adult")
        if adult is None:
            continue
        fits = here & (length >= adult.minimum_mm) & (weight > 0)
        ratio = np.full(len(length), math.nan)
        ratio[fits] = 100 * weight[fits] / 10 ** (adult.intercept + adult.slope * np.log10(length[fits]))
        sheet.doubt(
            (ratio < 40) | (ratio > 200),
            "weight_g",
            "weight does not fit the length",
            "Check both numbers and their units.",
        )
