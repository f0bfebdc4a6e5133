"""Depth below the surface of every row: number, unit, layer code, or the bottom."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fathomlight.errors import UnitError
from fathomlight.ingest.cells import header_unit
from fathomlight.ingest.issues import Issues
from fathomlight.ingest.raw import Encoded, RawTable
from fathomlight.ingest.recipe import Recipe, ValuePart
from fathomlight.ingest.values import parse_values
from fathomlight.model import Station
from fathomlight.units import convert

__all__ = ["DepthReader"]

MAX_DEPTH = 2_000.0


@dataclass
class DepthReader:
    """Reads depths for one column of values; attributes as of a column reader."""

    recipe: Recipe
    part: ValuePart
    stations: Mapping[str, Station]
    table: RawTable

    def __post_init__(self) -> None:
        self.header = " or ".join(self.part.column[:1])
        self.depth_unit = self._depth_unit()
        self.bottoms = {i: s.bottom_depth_m for i, s in self.stations.items() if s.bottom_depth_m}

    def read(self, table: RawTable, station: np.ndarray, surface: np.ndarray, issues: Issues) -> np.ndarray:
        """Return the depth [m] of every row; 0 where ``surface`` says that the parameter has none."""
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
        rows = np.flatnonzero(~surface & ~issues.bad)
        for unit, here in self._units(table, rows):
            self._fill(table, coded, station, here, unit, out, issues)
        return out

    def _units(self, table: RawTable, rows: np.ndarray) -> list[tuple[str, np.ndarray]]:
        """Rows by the unit their depth is in."""
        names = self.recipe.depth.unit_column
        position = table.find(names) if names else None
        if position is None:
            return [(self.depth_unit, rows)]
        coded = table.encoded(position)
        codes = coded.codes[rows]
        return [(coded.texts[c] or self.depth_unit, rows[codes == c]) for c in np.unique(codes)]

    def _fill(
        self,
        table: RawTable,
        coded: Encoded,
        station: np.ndarray,
        rows: np.ndarray,
        unit: str,
        out: np.ndarray,
        issues: Issues,
    ) -> None:
        position = table.find(self.recipe.depth.column)
        header = table.header[position] if position is not None else "depth"
        found, bottom, reason = self._depth_texts(coded, unit)
        codes = coded.codes[rows]
        out[rows] = np.where(np.isnan(found[codes]), self.recipe.depth.default, found[codes])
        wrong = rows[reason[codes] != ""]
        at = coded.codes[wrong]
        issues.add(
            wrong,
            header,
            np.array(coded.texts, dtype=object)[at],
            reason[at],
            "Give the depth as a positive number, or add the code to the recipe's depth.codes.",
        )
        deep = rows[bottom[codes]]
        if len(deep):
            out[deep] = self._bottom_depth(table, station, deep, header, issues)[deep]

    def _depth_texts(self, coded: Encoded, unit: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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
                    found[i] = convert(float(parsed.number[i]), str(parsed.unit[i]) or unit, "m")
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

    def _depth_unit(self) -> str:
        position = self.table.find(self.recipe.depth.column) if self.recipe.depth.column else None
        if position is None:
            return self.recipe.depth.unit
        header = self.table.header[position]
        return self.table.units.get(header, "") or header_unit(header) or self.recipe.depth.unit
