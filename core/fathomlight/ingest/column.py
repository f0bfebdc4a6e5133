"""One column of values: parameter, number, unit, qualifier, depth, replicate, note of every row."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.errors import RecipeError, UnitError
from fathomlight.ingest.cells import CellReader, Cells, has_value
from fathomlight.ingest.checks import SURFACE_ONLY, Past, possible_range, rival_units
from fathomlight.ingest.depths import DepthReader
from fathomlight.ingest.instants import NOON_NOTE, TWICE_NOTE, Instants
from fathomlight.ingest.issues import Issues, concat_refused
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import Recipe, ValuePart, plain_name
from fathomlight.ingest.values import is_missing, parse_numbers
from fathomlight.model import Flag, Parameter, Station
from fathomlight.units import convert, to_canonical

__all__ = ["ColumnReader", "ColumnResult", "has_value"]

_BOTTOM_NOTE = "disc on the bottom"
_DEEP = "deeper than the station's bottom"
_APART = "the two readings differ by more than a fifth"
_REMEDIES = {
    _DEEP: "If the disc was seen on the bottom, mark it so; else check value and bottom depth.",
    _APART: "Read the disc again, or check both depths.",
}
_OTHER_UNIT = "It fits this station's past only in that unit. Kept as written: correct it if need be."


@dataclass(frozen=True, slots=True)
class ColumnResult:
    """Readings of one column, doubts, cells without a value, and parameters that are not wanted."""

    frame: pd.DataFrame
    doubts: pd.DataFrame
    blank: int
    unwanted: Counter[str]


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
        self.cell_reader = CellReader(self.recipe, self.part, self.stations, self.table)
        self.depth_reader = DepthReader(self.recipe, self.part, self.stations, self.table)
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
        cells = self.cell_reader.read(table, station, issues)
        value, names, of_row = self._convert(table, cells, names, of_row, issues)
        self._possible(table, cells, value, names, of_row, issues)
        surface = np.array([n in SURFACE_ONLY for n in names] or [False], bool)[np.maximum(of_row, 0)]
        depth = self.depth_reader.read(table, station, surface, issues)
        replicate = self._replicate(table, issues)
        flag = self._flag(table, cells, issues)
        rows = np.flatnonzero(~issues.bad)
        doubt = self._doubts(cells, value, names, of_row, station, instants, rows)
        frame = self._frame(
            table, cells, value, names, of_row, depth, replicate, flag, station, instants, rows, doubt
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

    def _convert(
        self, table: RawTable, cells: Cells, names: list[str], of_row: np.ndarray, issues: Issues
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
        cells: Cells,
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
        self, cells: Cells, row: int, parameter: Parameter, low: float, high: float, value: float
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

    # -- replicate ------------------------------------------------------------------------------

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

    def _flag(self, table: RawTable, cells: Cells, issues: Issues) -> np.ndarray:
        out = np.where(cells.suspect, int(Flag.SUSPECT), int(Flag.NOT_EVALUATED))
        position = table.find(self.part.flag_column) if self.part.flag_column else None
        if position is None:
            return out
        coded = table.encoded(position)
        numbers = parse_numbers(coded.texts)
        blank = is_missing(coded.texts, self.recipe.missing)
        good = blank | np.isin(numbers, [int(f) for f in Flag])
        rows = np.flatnonzero(~coded.spread(good))
        issues.add(
            rows,
            table.header[position],
            np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "not a quality flag",
            "Flags are 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing.",
        )
        given = coded.spread(np.where(good & ~blank, np.nan_to_num(numbers), 0)).astype(np.int64)
        return np.where(given > 0, given, out)

    # -- doubts and the table ------------------------------------------------------------------

    def _doubts(
        self, cells: Cells, value: np.ndarray, names: list[str], of_row: np.ndarray, station: np.ndarray,
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
        out[cells.apart[rows]] = _APART
        if "secchi" in names and self.bottoms:
            disc = np.flatnonzero((of_row[rows] == names.index("secchi")) & (cells.sign[rows] == 0))
            bottom = np.array([self.bottoms.get(str(s), np.inf) for s in station[rows[disc]]], dtype=float)
            slack = np.maximum(0.15 * bottom, 0.3)  # the water level moves
            deep = disc[(value[rows[disc]] > bottom + slack) & (out[disc] == "")]
            out[deep] = _DEEP
        return out

    def _doubt_frame(
        self, table: RawTable, cells: Cells, rows: np.ndarray, doubt: np.ndarray
    ) -> pd.DataFrame:
        asked = np.flatnonzero(doubt != "")
        if not len(asked):
            return concat_refused([])
        at = rows[asked]
        shown = (
            [cells.coded.texts[c] for c in cells.coded.codes[at]] if cells.shown is None else cells.shown[at]
        )
        remedy = [_REMEDIES.get(str(reason), _OTHER_UNIT) for reason in doubt[asked]]
        frame = pd.DataFrame(
            {
                "file": table.file, "line": table.line[at], "column": self.header,
                "value": shown,
                "reason": doubt[asked], "remedy": remedy, "row_text": table.row_texts(at),
            }
        )  # fmt: skip
        return concat_refused([frame])

    def _frame(
        self, table: RawTable, cells: Cells, value: np.ndarray, names: list[str], of_row: np.ndarray,
        depth: np.ndarray, replicate: np.ndarray,
        flag: np.ndarray, station: np.ndarray, instants: Instants, rows: np.ndarray,
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
            "flag": pa.array(flag[rows]),
            "original_value": _texts(cells.coded.texts, cells.coded.codes[rows].astype(np.int64))
            if cells.shown is None
            else pa.array(cells.shown[rows].tolist(), pa.string()),
            "original_unit": units_column,
            "method": _texts([self.part.method], np.zeros(len(rows), np.int64)) if method is None else method,
            "note": self._notes(table, cells, instants, rows, doubt),
            "_row": pa.array(rows),
        }
        frame: pd.DataFrame = pa.table(data).to_pandas()
        return frame

    def _own_notes(self, table: RawTable, rows: np.ndarray) -> pa.Array | None:
        """What the file itself notes on each row."""
        plain = _column_text(table, self.part.note_column, rows)
        named = [(n, t) for n in self.part.note_columns if (t := _column_text(table, (n,), rows)) is not None]
        if not named:
            return plain
        own = plain.to_pylist() if plain is not None else [""] * len(rows)
        columns = [(name, text.to_pylist()) for name, text in named]
        joined = [
            "; ".join([*([own[i]] if own[i] else []), *(f"{name}: {t[i]}" for name, t in columns if t[i])])
            for i in range(len(rows))
        ]
        return pa.array(joined, pa.string())

    def _notes(
        self, table: RawTable, cells: Cells, instants: Instants, rows: np.ndarray, doubt: np.ndarray
    ) -> pa.Array:
        """One note per row: clock, bottom, doubt, then the file's own."""
        extra = self._own_notes(table, rows)
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


def _unit_reason(text: str, names: str, error: str) -> tuple[str, str]:
    wanted = names.replace("|", " or ")
    if not text:
        return f"no unit for {wanted}", "Name the unit in the header, in a unit column, or in the recipe."
    if error.startswith("unknown"):
        return "unknown unit", "Correct it, or name the unit in the recipe (unit, trust_unit = false)."
    return f"a unit that {wanted} cannot have: {error}", "Correct the unit or the parameter."
