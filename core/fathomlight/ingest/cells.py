"""Cells of one column of values: number, sign, unit, and codes that stand for them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fathomlight.errors import UnitError
from fathomlight.ingest.issues import Issues
from fathomlight.ingest.raw import Encoded, RawTable
from fathomlight.ingest.recipe import Recipe, ValuePart
from fathomlight.ingest.values import ParsedValues, is_missing, parse_numbers, parse_values
from fathomlight.model import Station
from fathomlight.units import convert, parse_unit

__all__ = ["CellReader", "Cells", "has_value", "header_unit"]

_IN_BRACKETS = re.compile(r"[\[(]([^\[\]()]+)[\])]\s*$")


@dataclass(slots=True)
class Cells:
    """Work in progress; one entry per row of the table."""

    parsed: ParsedValues
    coded: Encoded
    number: np.ndarray
    sign: np.ndarray  # int8: -1 below, 0 equal, 1 above
    unit: np.ndarray  # int codes into unit_texts
    unit_texts: list[str]
    limit: np.ndarray  # True where the limit column gave number and unit
    bottom: np.ndarray
    suspect: np.ndarray
    apart: np.ndarray
    shown: np.ndarray | None = None  # original texts, where they are not those of the column


def header_unit(text: str) -> str:
    """Find a unit in a header cell.

    Parameters
    ----------
    text : str
        E.g. ``Secchi (ft)``, ``Temp [°C]``, ``Turbid..NTU``, ``depth_m``.

    Returns
    -------
    str
        The unit as written; empty when there is none.

    Examples
    --------
    >>> header_unit("Secchi (ft)"), header_unit("Turbid..NTU"), header_unit("temp_degC"), header_unit("Site")
    ('ft', 'NTU', 'degC', '')
    """
    bracket = _IN_BRACKETS.search(text)
    candidates = [bracket.group(1)] if bracket else []
    parts = [p for p in re.split(r"[._,;:\s]+", text) if p]
    candidates += [parts[-1]] if len(parts) > 1 else []
    for candidate in candidates:
        try:
            parse_unit(candidate)
            return candidate.strip()
        except UnitError:
            continue
    return ""


def _fold(texts: tuple[str, ...]) -> frozenset[str]:
    return frozenset(t.casefold() for t in texts)


def _value_codes(part: ValuePart) -> frozenset[str]:
    codes = _fold(part.below_codes) | _fold(part.above_codes) | _fold(part.on_bottom_codes)
    return (codes | _fold(part.suspect_codes)) - {"", "<", ">", "="}


def has_value(table: RawTable, part: ValuePart, recipe: Recipe) -> np.ndarray:
    """Say which rows have something to say in a column of values.

    Parameters
    ----------
    table : RawTable
        The rows.
    part : ValuePart
        The column; a qualifier that stands for a value (not detected, on the bottom) counts.
    recipe : Recipe
        For the missing codes.

    Returns
    -------
    numpy.ndarray of bool, shape (rows,)
        False for rows that are empty there.
    """
    position = table.find(part.column)
    if position is None:
        return np.zeros(len(table), bool)
    key = (position, part.mean_with, part.qualifier_column)
    if key not in table.filled:
        table.filled[key] = _has_value(table, position, part, recipe)
    return table.filled[key]


def _has_value(table: RawTable, position: int, part: ValuePart, recipe: Recipe) -> np.ndarray:
    coded = table.encoded(position)
    numbers = parse_numbers(coded.texts, recipe.file.decimal, recipe.file.thousands)
    there = coded.spread(~is_missing(coded.texts, recipe.missing) & ~np.isin(numbers, recipe.missing.numbers))
    second = table.find(part.mean_with) if part.mean_with else None
    if second is not None:
        other = table.encoded(second)
        there = there | other.spread(~is_missing(other.texts, recipe.missing))
    where = table.find(part.qualifier_column) if part.qualifier_column else None
    if where is not None:
        codes = table.encoded(where)
        telling = (_fold(part.below_codes) | _fold(part.above_codes) | _fold(part.on_bottom_codes)) - {""}
        there = there | codes.spread(np.array([t.casefold() in telling for t in codes.texts], bool))
    return there


@dataclass
class CellReader:
    """Reads numbers, signs and units of one column of values; attributes as of a column reader."""

    recipe: Recipe
    part: ValuePart
    stations: Mapping[str, Station]
    table: RawTable

    def __post_init__(self) -> None:
        position = self.table.find(self.part.column)
        assert position is not None
        self.position = position
        self.header = self.table.header[position]
        self.codes = _value_codes(self.part)
        label = self.table.units.get(self.header, "")
        self.label = (label or header_unit(self.header)) if self.part.unit_from_header else ""
        self.bottoms = {i: s.bottom_depth_m for i, s in self.stations.items() if s.bottom_depth_m}

    def read(self, table: RawTable, station: np.ndarray, issues: Issues) -> Cells:
        """Read the column in one piece of the file; cells that cannot be read go to ``issues``."""
        file = self.recipe.file
        coded = table.encoded(self.position)
        parsed = parse_values(coded.texts, self.recipe.missing, self.codes, file.decimal, file.thousands)
        bad = np.array([bool(r) for r in parsed.reason], bool)
        if bad.any():
            rows = np.flatnonzero(coded.spread(bad))
            at = coded.codes[rows]
            issues.add(
                rows, self.header, np.array(coded.texts, dtype=object)[at], parsed.reason[at],
                [_number_remedy(r) for r in parsed.reason[at]],
            )  # fmt: skip
        sign = np.zeros(len(coded.texts), np.int8)
        sign[parsed.sign == "<"] = -1
        sign[parsed.sign == ">"] = 1
        units, texts = self._units(table, coded, parsed)
        none = np.zeros(len(table), bool)
        cells = Cells(
            parsed, coded, coded.spread(parsed.number) * self.part.scale, coded.spread(sign), units, texts,
            none.copy(), none.copy(), none.copy(), none.copy(),
        )  # fmt: skip
        if (parsed.code != "").any():
            self._apply_codes(cells, coded.spread(parsed.code))
        self._average(table, cells, issues)
        self._qualifiers(table, cells, issues)
        self._fill_limits(table, cells, station, issues)
        return cells

    def _average(self, table: RawTable, cells: Cells, issues: Issues) -> None:
        """Average with the second column; where only one of the two is given, that one counts."""
        position = table.find(self.part.mean_with) if self.part.mean_with else None
        if position is None:
            return
        coded, file = table.encoded(position), self.recipe.file
        parsed = parse_values(coded.texts, self.recipe.missing, frozenset(), file.decimal, file.thousands)
        header = table.header[position]
        label = table.units.get(header, "") or header_unit(header) or self.label or self.part.unit
        second = np.full(len(table), np.nan)
        for row in np.flatnonzero(~issues.bad):
            code = coded.codes[row]
            number, reason = float(parsed.number[code]), str(parsed.reason[code])
            here = str(parsed.unit[code]) or label
            if not reason and not np.isnan(number):
                cells.sign[row] = 1 if parsed.sign[code] == ">" else cells.sign[row]
                if np.isnan(cells.number[row]):
                    cells.unit_texts.append(here)
                    cells.unit[row] = len(cells.unit_texts) - 1
                mine = cells.unit_texts[cells.unit[row]] or label
                try:
                    second[row] = convert(number, here, mine) if here and mine and here != mine else number
                except UnitError:
                    reason = "a unit that does not fit that of the other reading"
            if reason:
                issues.add(np.array([row]), header, [coded.texts[code]], reason, _number_remedy(reason))
        both = ~np.isnan(second) & ~np.isnan(cells.number)
        cells.apart |= both & (np.abs(second - cells.number) > 0.2 * np.maximum(second, cells.number))
        first = np.array([cells.coded.texts[c] for c in cells.coded.codes], dtype=object)
        other = np.array([coded.texts[c] for c in coded.codes], dtype=object)
        cells.shown = np.where(both, first + " / " + other, np.where(np.isnan(second), first, other))
        cells.number = np.where(
            both, (second + cells.number) / 2, np.where(np.isnan(second), cells.number, second)
        )

    def _apply_codes(self, cells: Cells, codes: np.ndarray) -> None:
        """Let codes speak: below, above, on the bottom, suspect."""
        part = self.part
        cells.sign[np.isin(codes, list(_fold(part.below_codes) - {""}))] = -1
        cells.sign[np.isin(codes, list(_fold(part.above_codes) - {""}))] = 1
        on_bottom = np.isin(codes, list(_fold(part.on_bottom_codes) - {""}))
        cells.sign[on_bottom] = 1
        cells.bottom |= on_bottom
        cells.suspect |= np.isin(codes, list(_fold(part.suspect_codes) - {""}))

    def _qualifiers(self, table: RawTable, cells: Cells, issues: Issues) -> None:
        part = self.part
        position = table.find(part.qualifier_column) if part.qualifier_column else None
        if position is None:
            return
        coded = table.encoded(position)
        low = np.array([t.casefold() for t in coded.texts], dtype=object)
        silent = _fold(part.equal_codes) | _fold(self.recipe.missing.texts)
        telling = _fold(part.below_codes) | _fold(part.above_codes) | _fold(part.on_bottom_codes)
        known = np.array([t in silent or t in telling or t in _fold(part.suspect_codes) for t in low], bool)
        rows = np.flatnonzero(~coded.spread(known))
        issues.add(
            rows,
            table.header[position],
            np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "unknown qualifier",
            "Add it to equal_codes, below_codes, above_codes, on_bottom_codes or suspect_codes.",
        )
        speaks = np.array([t in telling or t in _fold(part.suspect_codes) for t in low], bool)
        if speaks.any():
            self._apply_codes(cells, coded.spread(np.where(speaks, low, "")))

    def _fill_limits(self, table: RawTable, cells: Cells, station: np.ndarray, issues: Issues) -> None:
        """Where a code stands instead of a number, the limit or the bottom depth is the number."""
        empty = np.isnan(cells.number) & ~issues.bad
        if not empty.any():
            return
        self._take(table, self.part.limit_column, cells, empty & ~cells.bottom)
        self._take(table, self.part.bottom_column, cells, empty & cells.bottom)
        known = np.array(
            [self.bottoms.get(str(s), np.nan) for s in station[empty & cells.bottom]], dtype=float
        )
        rows = np.flatnonzero(empty & cells.bottom)
        use = np.isnan(cells.number[rows]) & ~np.isnan(known)
        cells.number[rows[use]] = known[use]
        if use.any():
            cells.unit_texts.append("m")
            cells.unit[rows[use]] = len(cells.unit_texts) - 1
        left = np.isnan(cells.number) & ~issues.bad
        texts = cells.coded.texts
        for mask, reason, remedy in (
            (left & cells.bottom, "the disc was on the bottom, but its depth is not given",
             "Give the depth as value, or the station's bottom depth in stations.csv."),
            (left & (cells.sign != 0) & ~cells.bottom, "beyond a limit that is not given",
             "Give the detection limit, as < 0.5, or in the limit column."),
            (left & (cells.sign == 0), "a code without a value", "Give the value."),
        ):  # fmt: skip
            rows = np.flatnonzero(mask)
            issues.add(rows, self.header, [texts[c] for c in cells.coded.codes[rows]], reason, remedy)

    def _take(self, table: RawTable, names: tuple[str, ...], cells: Cells, where: np.ndarray) -> None:
        position = table.find(names) if names else None
        if position is None or not where.any():
            return
        coded = table.encoded(position)
        file = self.recipe.file
        parsed = parse_values(coded.texts, self.recipe.missing, frozenset(), file.decimal, file.thousands)
        numbers = coded.spread(parsed.number)
        rows = np.flatnonzero(where & ~np.isnan(numbers))
        cells.number[rows] = numbers[rows] * self.part.scale
        unit_at = table.find(self.part.limit_unit_column) if self.part.limit_unit_column else None
        label = header_unit(table.header[position])
        if unit_at is not None:
            units = table.encoded(unit_at)
            base = len(cells.unit_texts)
            cells.unit_texts.extend(units.texts)
            given = rows[units.spread(np.array([bool(t) for t in units.texts], bool))[rows]]
            cells.unit[given] = base + units.codes[given]
        elif label:
            cells.unit_texts.append(label)
            cells.unit[rows] = len(cells.unit_texts) - 1
        cells.limit[rows] = True

    def _units(self, table: RawTable, coded: Encoded, parsed: ParsedValues) -> tuple[np.ndarray, list[str]]:
        """Unit text of every row: behind the value, unit column, header, recipe; in that order."""
        part = self.part
        fallback = part.unit or ""
        texts = [self.label if self.label and part.trust_unit else fallback]
        units = np.zeros(len(table), np.int64)
        if not part.trust_unit:
            return units, texts
        position = table.find(part.unit_column) if part.unit_column else None
        if position is not None:
            column = table.encoded(position)
            blank = is_missing(column.texts, self.recipe.missing)
            codes = np.where(blank, 0, np.arange(len(column.texts)) + 1)
            units = column.spread(codes).astype(np.int64)
            texts = texts + column.texts
        glued = parsed.unit != ""
        if glued.any():
            base = len(texts)
            texts = texts + [str(u) for u in parsed.unit[glued]]
            codes = np.full(len(parsed.unit), -1, np.int64)
            codes[glued] = base + np.arange(int(glued.sum()))
            own = coded.spread(codes)
            units = np.where(own >= 0, own, units)
        return units, texts


def _number_remedy(reason: str) -> str:
    if "formula" in reason:
        return "Open the workbook, let it calculate, save it; or write the value."
    if "comma" in reason:
        return 'Set file.decimal or file.thousands to "," in the recipe.'
    if "estimate" in reason:
        return "Give the measured value, or < or > with a limit."
    return "Give one number; < or > before it is understood, a unit behind it too."
