"""One column of values: parameter, number, unit, qualifier, depth, replicate, method and note of every row."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.errors import RecipeError, UnitError
from fathomlight.ingest.checks import SURFACE_ONLY, Past, possible_range, rival_units
from fathomlight.ingest.instants import NOON_NOTE, TWICE_NOTE, Instants
from fathomlight.ingest.issues import Issues, concat_refused
from fathomlight.ingest.raw import Encoded, RawTable
from fathomlight.ingest.recipe import Recipe, ValuePart, plain_name
from fathomlight.ingest.values import ParsedValues, is_missing, parse_numbers, parse_values
from fathomlight.model import Flag, Parameter, Station
from fathomlight.units import convert, parse_unit, to_canonical

__all__ = ["ColumnReader", "ColumnResult", "has_value", "header_unit"]

_IN_BRACKETS = re.compile(r"[\[(]([^\[\]()]+)[\])]\s*$")
_BOTTOM_NOTE = "disc on the bottom"
MAX_DEPTH = 2_000.0


@dataclass(frozen=True, slots=True)
class ColumnResult:
    """Readings of one column, doubts about them, cells without a value, and parameters that are not wanted."""

    frame: pd.DataFrame
    doubts: pd.DataFrame
    blank: int
    unwanted: Counter[str]


@dataclass(slots=True)
class _Cells:
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
    coded = table.encoded(position)
    numbers = parse_numbers(coded.texts, recipe.file.decimal, recipe.file.thousands)
    there = coded.spread(~is_missing(coded.texts, recipe.missing) & ~np.isin(numbers, recipe.missing.numbers))
    where = table.find(part.qualifier_column) if part.qualifier_column else None
    if where is not None:
        codes = table.encoded(where)
        telling = (_fold(part.below_codes) | _fold(part.above_codes) | _fold(part.on_bottom_codes)) - {""}
        there = there | codes.spread(np.array([t.casefold() in telling for t in codes.texts], bool))
    return there


@dataclass
class ColumnReader:
    """Reads one column of values of one file.

    Attributes
    ----------
    recipe, part : Recipe, ValuePart
        How the file, and this column of it, is read.
    parameters, stations : mapping
        By name, by id.
    possible : mapping or None
        Hard limits of the workspace.
    past : Past
        What stations have shown before.
    table : RawTable
        Any piece of the file, for the header.
    """

    recipe: Recipe
    part: ValuePart
    parameters: Mapping[str, Parameter]
    stations: Mapping[str, Station]
    possible: Mapping[str, tuple[float, float]] | None
    past: Past
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
        self.by_plain = {plain_name(p.name): p.name for p in self.parameters.values()}
        for p in self.parameters.values():
            self.by_plain.setdefault(plain_name(p.label), p.name)
        listed = [self.part.parameter] if self.part.parameter else []
        listed += [n for names in self.part.parameters.values() for n in names]
        stray = sorted({n for n in listed if n not in self.parameters})
        if self.part.parameter and stray:
            raise RecipeError(
                f"recipe {self.recipe.name!r} names a parameter that is not there",
                where=f"values {self.header!r}", got=", ".join(stray),
                expected="one of " + ", ".join(self.parameters),
            )  # fmt: skip
        self.depth_unit = self._depth_unit()

    def read(self, table: RawTable, station: np.ndarray, instants: Instants, issues: Issues) -> ColumnResult:
        """Read the column in one piece of the file.

        Parameters
        ----------
        table : RawTable
            The rows.
        station : numpy.ndarray of object, shape (rows,)
            Station ids.
        instants : Instants
            When.
        issues : Issues
            Receives rows that cannot be used; rows refused already are left alone.

        Returns
        -------
        ColumnResult
            What the column holds.
        """
        considered = ~issues.bad
        filled = has_value(table, self.part, self.recipe)
        issues.bad |= ~filled
        names, of_row, unwanted = self._parameter(table, issues)
        cells = self._cells(table, station, issues)
        value, names, of_row = self._convert(table, cells, names, of_row, issues)
        self._possible(table, cells, value, names, of_row, issues)
        surface = np.array([n in SURFACE_ONLY for n in names] or [False], bool)[np.maximum(of_row, 0)]
        depth = self._depth(table, station, surface, issues)
        replicate = self._replicate(table, issues)
        rows = np.flatnonzero(~issues.bad)
        doubt = self._doubts(cells, value, names, of_row, station, instants, rows)
        frame = self._frame(
            table, cells, value, names, of_row, depth, replicate, station, instants, rows, doubt
        )
        return ColumnResult(
            frame, self._doubt_frame(table, cells, rows, doubt), int((considered & ~filled).sum()), unwanted
        )

    # -- parameter -----------------------------------------------------------------------------

    def _parameter(self, table: RawTable, issues: Issues) -> tuple[list[str], np.ndarray, Counter[str]]:
        """Return candidate names (several joined with ``|``), and the position of each row's in them."""
        part = self.part
        if part.parameter:
            return [part.parameter], np.zeros(len(table), np.int64), Counter()
        columns = part.parameter_columns or ()
        positions = [table.need(part.parameter_column, "parameter", self.recipe.name)] if not columns else []
        positions += [table.need((c,), "parameter", self.recipe.name) for c in columns[:1]]
        positions += [p for c in columns[1:] if (p := table.find((c,))) is not None]
        codes, texts = _joined(table, positions)
        listed = {
            plain_name(k): "|".join(n for n in v if n in self.parameters) for k, v in part.parameters.items()
        }
        skip = {plain_name(s) for s in part.skip_parameters}
        names: list[str] = []
        of_text = np.full(len(texts), -1, dtype=np.int64)
        wanted = np.ones(len(texts), bool)
        for i, text in enumerate(texts):
            name = self._name_of(text, listed)
            if name:
                names.append(name) if name not in names else None
                of_text[i] = names.index(name)
            elif plain_name(text) in skip or "*" in skip:
                wanted[i] = False
        of_row = of_text[codes]
        live = ~issues.bad
        off = live & ~wanted[codes]
        issues.bad |= off
        unwanted = Counter(
            {texts[c]: int(n) for c, n in zip(*np.unique(codes[off], return_counts=True), strict=True)}
        )
        rows = np.flatnonzero(of_row < 0)
        issues.add(
            rows, table.header[positions[0]], np.array(texts, dtype=object)[codes[rows]],
            "unknown parameter", "Add it to values.parameters or values.skip_parameters of the recipe.",
        )  # fmt: skip
        return names, of_row, unwanted

    def _name_of(self, text: str, listed: Mapping[str, str]) -> str:
        plain, first = plain_name(text), plain_name(text.split(" / ")[0])
        return (
            listed.get(plain) or listed.get(first) or self.by_plain.get(plain) or self.by_plain.get(first, "")
        )

    # -- numbers, signs, units -----------------------------------------------------------------

    def _cells(self, table: RawTable, station: np.ndarray, issues: Issues) -> _Cells:
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
        cells = _Cells(
            parsed, coded, coded.spread(parsed.number) * self.part.scale, coded.spread(sign), units, texts,
            none.copy(), none.copy(), none.copy(),
        )  # fmt: skip
        if (parsed.code != "").any():
            for row_codes in (coded.spread(parsed.code),):
                self._apply_codes(cells, row_codes)
        self._qualifiers(table, cells, issues)
        self._fill_limits(table, cells, station, issues)
        return cells

    def _apply_codes(self, cells: _Cells, codes: np.ndarray) -> None:
        """Let codes speak: below, above, on the bottom, suspect."""
        part = self.part
        cells.sign[np.isin(codes, list(_fold(part.below_codes) - {""}))] = -1
        cells.sign[np.isin(codes, list(_fold(part.above_codes) - {""}))] = 1
        on_bottom = np.isin(codes, list(_fold(part.on_bottom_codes) - {""}))
        cells.sign[on_bottom] = 1
        cells.bottom |= on_bottom
        cells.suspect |= np.isin(codes, list(_fold(part.suspect_codes) - {""}))

    def _qualifiers(self, table: RawTable, cells: _Cells, issues: Issues) -> None:
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
            rows, table.header[position], np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "unknown qualifier", "Add it to equal_codes, below_codes, above_codes, on_bottom_codes or suspect_codes.",
        )  # fmt: skip
        speaks = np.array([t in telling or t in _fold(part.suspect_codes) for t in low], bool)
        if speaks.any():
            self._apply_codes(cells, coded.spread(np.where(speaks, low, "")))

    def _fill_limits(self, table: RawTable, cells: _Cells, station: np.ndarray, issues: Issues) -> None:
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

    def _take(self, table: RawTable, names: tuple[str, ...], cells: _Cells, where: np.ndarray) -> None:
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

    def _convert(
        self, table: RawTable, cells: _Cells, names: list[str], of_row: np.ndarray, issues: Issues
    ) -> tuple[np.ndarray, list[str], np.ndarray]:
        """Bring numbers into canonical units, one combination of parameter and unit at a time."""
        value = np.full(len(table), np.nan)
        live = ~issues.bad
        final: list[str] = []
        chosen = np.full(len(table), -1, np.int64)
        width = len(cells.unit_texts)
        key = np.where(live, np.maximum(of_row, 0) * width + cells.unit, -1)
        codes, kinds = pd.factorize(key)
        groups = _groups(codes, len(kinds))
        for kind, rows in zip(kinds, groups, strict=True):
            if kind < 0:
                continue
            text = cells.unit_texts[kind % width]
            name, converted, error = self._first_fit(names[kind // width], text, cells.number[rows])
            if name:
                if name not in final:
                    final.append(name)
                chosen[rows] = final.index(name)
                value[rows] = converted
            else:
                issues.add(
                    rows,
                    self._unit_header(table),
                    [text] * len(rows),
                    *_unit_reason(text, names[kind // width], error),
                )
        return value, final, chosen

    def _unit_header(self, table: RawTable) -> str:
        position = table.find(self.part.unit_column) if self.part.unit_column else None
        return self.header if position is None else table.header[position]

    def _first_fit(self, names: str, text: str, number: np.ndarray) -> tuple[str, np.ndarray, str]:
        error = ""
        for name in names.split("|"):
            unit = text or self.part.units.get(name, "")
            if not unit:
                error = "no unit"
                continue
            try:
                return name, to_canonical(number, unit, self.parameters[name]), ""
            except UnitError as problem:
                error = problem.what
        return "", number, error

    # -- what can be ---------------------------------------------------------------------------

    def _possible(
        self,
        table: RawTable,
        cells: _Cells,
        value: np.ndarray,
        names: list[str],
        of_row: np.ndarray,
        issues: Issues,
    ) -> None:
        for i, name in enumerate(names):
            parameter = self.parameters[name]
            low, high = possible_range(parameter, self.possible)
            here = (of_row == i) & ~issues.bad
            zero = parameter.positive and low <= 0
            small = here & ((value <= 0) if zero else (value < low))
            large = here & (value > high)
            for mask, reason in (
                (small & (value < 0) & zero, f"{parameter.label} cannot be negative"),
                (small & (value == 0) & zero, f"{parameter.label} cannot be exactly zero"),
                (small, f"below what is possible ({low:g} {parameter.unit})"),
                (large, f"above what is possible ({high:g} {parameter.unit})"),
            ):
                rows = np.flatnonzero(mask)
                if len(rows):
                    issues.add(
                        rows, self.header, [cells.coded.texts[c] for c in cells.coded.codes[rows]], reason,
                        [self._remedy(cells, int(r), parameter, low, high, value[r]) for r in rows],
                    )  # fmt: skip

    def _remedy(
        self, cells: _Cells, row: int, parameter: Parameter, low: float, high: float, value: float
    ) -> str:
        if value < 0 and parameter.positive:
            return (
                "If it stands for a missing value, add it to missing.numbers of the recipe; "
                "if it is below detection, write < and the limit."
            )
        if value == 0:
            return (
                "If nothing was found, write < and the detection limit; if nothing was read, leave it empty."
            )
        unit = cells.unit_texts[cells.unit[row]]
        for rival in rival_units(unit, parameter.unit) if unit else ():
            other = float(convert(float(cells.number[row]), rival, parameter.unit))
            if low < other <= high:
                return f"Did you mean {rival}? Correct the unit or the value."
        return "Correct the value or its unit."

    # -- depth, replicate ----------------------------------------------------------------------

    def _depth_unit(self) -> str:
        position = self.table.find(self.recipe.depth.column) if self.recipe.depth.column else None
        if position is None:
            return self.recipe.depth.unit
        header = self.table.header[position]
        return self.table.units.get(header, "") or header_unit(header) or self.recipe.depth.unit

    def _depth(self, table: RawTable, station: np.ndarray, surface: np.ndarray, issues: Issues) -> np.ndarray:
        part, depths = self.part, self.recipe.depth
        if part.depth is not None:
            return np.full(len(table), part.depth)
        if part.depth_code == "bottom":
            return self._bottom_depth(
                table, station, np.flatnonzero(~issues.bad & ~surface), self.header, issues
            )
        out = np.full(len(table), depths.default)
        out[surface] = 0.0
        position = table.find(depths.column) if depths.column else None
        if position is None:
            return out
        coded = table.encoded(position)
        found, bottom, reason = self._depth_texts(table, coded)
        rows = np.flatnonzero(~surface & ~issues.bad)
        codes = coded.codes[rows]
        out[rows] = np.where(np.isnan(found[codes]), depths.default, found[codes])
        wrong = rows[reason[codes] != ""]
        at = coded.codes[wrong]
        issues.add(
            wrong, table.header[position], np.array(coded.texts, dtype=object)[at], reason[at],
            "Give the depth below the surface as a positive number, or add the code to depth.codes of the recipe.",
        )  # fmt: skip
        deep = rows[bottom[codes]]
        if len(deep):
            out[deep] = self._bottom_depth(table, station, deep, table.header[position], issues)[deep]
        return out

    def _depth_texts(self, table: RawTable, coded: Encoded) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Depth [m], whether it is the bottom, and what is wrong, of each different text."""
        depths, file = self.recipe.depth, self.recipe.file
        codes = {k.casefold(): v for k, v in depths.codes.items()}
        parsed = parse_values(
            coded.texts, self.recipe.missing, frozenset(codes), file.decimal, file.thousands
        )
        found = np.full(len(coded.texts), np.nan)
        bottom, reason = np.zeros(len(coded.texts), bool), np.full(len(coded.texts), "", dtype=object)
        for i, text in enumerate(coded.texts):
            if text.casefold() in codes:
                meaning = codes[text.casefold()]
                bottom[i] = meaning == "bottom"
                found[i] = np.nan if meaning == "bottom" else float(meaning)
            elif parsed.reason[i] or parsed.sign[i] or (not depths.numbers and not parsed.missing[i]):
                reason[i] = "not a depth" if depths.numbers else "not a declared layer code"
            elif not parsed.missing[i]:
                try:
                    found[i] = convert(float(parsed.number[i]), str(parsed.unit[i]) or self.depth_unit, "m")
                except UnitError:
                    reason[i] = "not a depth"
                if found[i] < 0 or found[i] > MAX_DEPTH:
                    reason[i] = (
                        "a depth below the surface is not negative"
                        if found[i] < 0
                        else "deeper than any lake"
                    )
        return found, bottom, reason

    def _bottom_depth(
        self, table: RawTable, station: np.ndarray, rows: np.ndarray, header: str, issues: Issues
    ) -> np.ndarray:
        out = np.zeros(len(table))
        known = np.array([self.bottoms.get(str(s), np.nan) for s in station[rows]], dtype=float)
        out[rows] = known
        bad = rows[np.isnan(known)]
        issues.add(
            bad, header, ["bottom"] * len(bad), "the station's bottom depth is not known",
            "Give bottom_depth_m in stations.csv, or the depth in the file.",
        )  # fmt: skip
        return out

    def _replicate(self, table: RawTable, issues: Issues) -> np.ndarray:
        part = self.part
        position = table.find(part.replicate_column) if part.replicate_column else None
        if position is None:
            return np.full(len(table), part.replicate or 1, np.int64)
        coded = table.encoded(position)
        numbers = parse_numbers(coded.texts)
        blank = is_missing(coded.texts, self.recipe.missing)
        good = blank | ((numbers >= 1) & (numbers == np.floor(numbers)) & (numbers < 10_000))
        rows = np.flatnonzero(~coded.spread(good))
        issues.add(
            rows, table.header[position], np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "not a replicate number", "Number repeated readings 1, 2, 3 ...",
        )  # fmt: skip
        usable = np.where(good & ~blank, np.nan_to_num(numbers, nan=1.0), 1.0)
        return coded.spread(usable).astype(np.int64)

    # -- doubts and the table ------------------------------------------------------------------

    def _doubts(
        self, cells: _Cells, value: np.ndarray, names: list[str], of_row: np.ndarray, station: np.ndarray,
        instants: Instants, rows: np.ndarray,
    ) -> np.ndarray:  # fmt: skip
        """What a person should look at, per row of ``rows``; the reading is kept."""
        out = np.full(len(rows), "", dtype=object)
        if not len(rows):
            return out
        if self.past.low:
            month = instants.local_date[rows].astype("datetime64[M]").astype(int) % 12 + 1
            for i, name in enumerate(names):
                here = np.flatnonzero(of_row[rows] == i)
                low, high = self.past.ranges(station[rows[here]], name, month[here])
                for unit in np.unique(cells.unit[rows[here]]):
                    text = cells.unit_texts[unit] or self.part.units.get(name, "")
                    at = here[cells.unit[rows[here]] == unit]
                    sub = np.isin(here, at)
                    words = self.past.other_unit(
                        value[rows[at]],
                        cells.number[rows[at]],
                        text,
                        self.parameters[name].unit,
                        low[sub],
                        high[sub],
                    )
                    out[at] = np.where(words != "", "did you mean " + words + "?", "")
        if "secchi" in names and self.bottoms:
            disc = np.flatnonzero((of_row[rows] == names.index("secchi")) & (cells.sign[rows] == 0))
            bottom = np.array([self.bottoms.get(str(s), np.inf) for s in station[rows[disc]]], dtype=float)
            deep = disc[(value[rows[disc]] > bottom) & (out[disc] == "")]
            out[deep] = "deeper than the station's bottom"
        return out

    def _doubt_frame(
        self, table: RawTable, cells: _Cells, rows: np.ndarray, doubt: np.ndarray
    ) -> pd.DataFrame:
        asked = np.flatnonzero(doubt != "")
        if not len(asked):
            return concat_refused([])
        at = rows[asked]
        remedy = np.where(
            doubt[asked] == "deeper than the station's bottom",
            "If the disc was seen on the bottom, mark it so; else check value and bottom depth.",
            "It fits this station's past only in that unit. Kept as written: correct the unit if it is wrong.",
        )
        frame = pd.DataFrame(
            {
                "file": table.file, "line": table.line[at], "column": self.header,
                "value": [cells.coded.texts[c] for c in cells.coded.codes[at]],
                "reason": doubt[asked], "remedy": remedy, "row_text": table.row_texts(at),
            }
        )  # fmt: skip
        return concat_refused([frame])

    def _frame(
        self, table: RawTable, cells: _Cells, value: np.ndarray, names: list[str], of_row: np.ndarray,
        depth: np.ndarray, replicate: np.ndarray, station: np.ndarray, instants: Instants, rows: np.ndarray,
        doubt: np.ndarray,
    ) -> pd.DataFrame:  # fmt: skip
        codes, ids = pd.factorize(station[rows])
        local = instants.local_date[rows]
        units = [t or self.part.units.get(names[0] if names else "", "") for t in cells.unit_texts]
        if self.part.units and not self.part.parameter:
            units_column = _texts(
                [u or self.part.units.get(n, "") for n in (names or [""]) for u in cells.unit_texts],
                np.maximum(of_row[rows], 0) * len(cells.unit_texts) + cells.unit[rows],
            )
        else:
            units_column = _texts(units, cells.unit[rows])
        method = _column_text(table, self.part.method_column, rows)
        data = {
            "station": _texts([str(i) for i in ids], codes),
            "parameter": _texts(names, of_row[rows]),
            "depth_m": pa.array(depth[rows] + 0.0),
            "time": pa.array(instants.time[rows].astype(np.int64)).cast(pa.timestamp("us", "UTC")),
            "local_date": pa.array(local.astype(np.int64)).cast(pa.timestamp("us")),
            "replicate": pa.array(replicate[rows]),
            "value": pa.array(value[rows] + 0.0),
            "qualifier": _texts(["<", "=", ">"], cells.sign[rows].astype(np.int64) + 1),
            "flag": pa.array(np.where(cells.suspect[rows], int(Flag.SUSPECT), int(Flag.NOT_EVALUATED))),
            "original_value": _texts(cells.coded.texts, cells.coded.codes[rows].astype(np.int64)),
            "original_unit": units_column,
            "method": _texts([self.part.method], np.zeros(len(rows), np.int64)) if method is None else method,
            "note": self._notes(table, cells, instants, rows, doubt),
            "_row": pa.array(rows),
        }
        return pa.table(data).to_pandas()

    def _notes(
        self, table: RawTable, cells: _Cells, instants: Instants, rows: np.ndarray, doubt: np.ndarray
    ) -> pa.Array:
        """One note per row: clock, bottom, doubt, then the file's own."""
        extra = _column_text(table, self.part.note_column, rows)
        asked, kinds = pd.factorize(doubt)
        key = (asked * 3 + instants.note[rows]) * 2 + cells.bottom[rows]
        codes, combos = pd.factorize(key)
        texts = []
        for combo in combos:
            bottom, note, question = combo % 2, (combo // 2) % 3, kinds[combo // 6]
            words = [["", NOON_NOTE, TWICE_NOTE][note], _BOTTOM_NOTE if bottom else "", str(question)]
            texts.append("; ".join(w for w in words if w))
        if extra is None:
            return _texts(texts, codes.astype(np.int64))
        own = extra.to_pylist()
        return pa.array(
            ["; ".join(w for w in (texts[c], o) if w) for c, o in zip(codes, own, strict=True)], pa.string()
        )


def _groups(codes: np.ndarray, kinds: int) -> list[np.ndarray]:
    """Rows of each code."""
    if kinds == 1:
        return [np.arange(len(codes))]
    order = np.argsort(codes, kind="stable")
    return np.split(order, np.cumsum(np.bincount(codes, minlength=kinds))[:-1]) if kinds else []


def _texts(texts: list[str], codes: np.ndarray) -> pa.Array:
    """Spread texts over rows."""
    words = pa.array(texts or [""], pa.string())
    return words.take(pa.array(np.maximum(codes, 0)))


def _column_text(table: RawTable, names: tuple[str, ...], rows: np.ndarray) -> pa.Array | None:
    position = table.find(names) if names else None
    if position is None:
        return None
    coded = table.encoded(position)
    return _texts(coded.texts, coded.codes[rows].astype(np.int64))


def _joined(table: RawTable, positions: list[int]) -> tuple[np.ndarray, list[str]]:
    """Codes and texts of one or several columns joined with ``" / "``."""
    first = table.encoded(positions[0])
    if len(positions) == 1:
        return first.codes.astype(np.int64), first.texts
    key = np.zeros(len(table), np.int64)
    for p in positions:
        key = key * (len(table.encoded(p).texts) + 1) + table.encoded(p).codes
    codes, kinds = pd.factorize(key)
    where = np.zeros(len(kinds), np.int64)
    where[codes[::-1]] = np.arange(len(codes))[::-1]
    texts = [
        " / ".join(t for t in (table.encoded(p).texts[table.encoded(p).codes[r]] for p in positions) if t)
        for r in where
    ]
    return codes, texts


def _number_remedy(reason: str) -> str:
    if "formula" in reason:
        return "Open the workbook, let it calculate, save it; or write the value."
    if "comma" in reason:
        return 'Set file.decimal or file.thousands to "," in the recipe.'
    if "estimate" in reason:
        return "Give the measured value, or < or > with a limit."
    return "Give one number; < or > before it is understood, a unit behind it too."


def _unit_reason(text: str, names: str, error: str) -> tuple[str, str]:
    wanted = names.replace("|", " or ")
    if not text:
        return f"no unit for {wanted}", "Name the unit in the header, in a unit column, or in the recipe."
    if error.startswith("unknown"):
        return "unknown unit", "Correct it, or name the unit in the recipe (unit, trust_unit = false)."
    return f"a unit that {wanted} cannot have: {error}", "Correct the unit or the parameter."
