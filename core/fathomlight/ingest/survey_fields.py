"""Fields of survey, catch and fish tables: their texts and numbers, row by row, and the species they name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import UnitError
from fathomlight.ingest.cells import header_unit
from fathomlight.ingest.issues import Issues
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import Recipe, plain_name
from fathomlight.ingest.stations import station_names, water_names
from fathomlight.ingest.values import is_missing, parse_values
from fathomlight.model import Station, Water
from fathomlight.units import convert

__all__ = ["SCIENTIFIC_NAMES", "FieldReader", "species_name"]

SCIENTIFIC_NAMES: Mapping[str, str] = {
    "sander vitreus": "walleye",
    "stizostedion vitreum": "walleye",
    "sander canadensis": "sauger",
    "esox lucius": "northern pike",
    "esox masquinongy": "muskellunge",
    "micropterus salmoides": "largemouth bass",
    "micropterus nigricans": "largemouth bass",
    "micropterus dolomieu": "smallmouth bass",
    "perca flavescens": "yellow perch",
    "salvelinus namaycush": "lake trout",
    "lota lota": "burbot",
}
"""Scientific to common names (names as in American Fisheries Society lists; older synonyms too)."""

_LIMITS = {"length": (5.0, 5_000.0, "mm"), "weight": (0.01, 500_000.0, "g"), "mesh": (1.0, 1_000.0, "mm")}


def species_name(text: str, names: Mapping[str, str]) -> str:
    """Bring a species into the form it is kept in.

    Parameters
    ----------
    text : str
        Common or scientific name, or a code of the recipe.
    names : mapping of str to str
        The recipe's own, by plain name.

    Returns
    -------
    str
        Common name in lower case where known; else the text in lower case.

    Examples
    --------
    >>> species_name("Sander vitreus", {}), species_name("Burbot", {}), species_name("WE", {"we": "walleye"})
    ('walleye', 'burbot', 'walleye')
    """
    plain = plain_name(text)
    low = " ".join(text.split()).casefold()
    return names.get(plain) or SCIENTIFIC_NAMES.get(plain) or low


@dataclass
class FieldReader:
    """Reads fields of one file of fish surveys.

    Attributes
    ----------
    recipe : Recipe
        Of kind ``surveys``, ``catch`` or ``fish``.
    stations, waters : sequence
        What may be named.
    now : numpy.datetime64
        The present, UTC.
    """

    recipe: Recipe
    stations: Sequence[Station]
    waters: Sequence[Water]
    now: np.datetime64
    warnings: list[str] = field(default_factory=list)
    unused: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        part = self.recipe.fields
        self.station_of = station_names(self.stations, self.recipe.station.aliases)
        self.water_of = water_names(self.stations, self.waters, part.waters)
        self.water_of_station = {s.id: s.water for s in self.stations}
        self.zone = {s.id: s.timezone for s in self.stations} | {s.water: s.timezone for s in self.stations}
        self.species = {plain_name(k): v for k, v in part.species_names.items()}
        self.gears = {plain_name(k): v for k, v in part.gears.items()}
        self.seen: dict[str, tuple[Any, ...]] = {}
        self.ready = False

    def _names(self, key: str) -> tuple[str, ...]:
        names: tuple[str, ...] = getattr(self.recipe.fields, key)
        return names

    def _has(self, table: RawTable, key: str) -> bool:
        return key in self.recipe.fields.fixed or any(table.find((n,)) is not None for n in self._names(key))

    def _header(self, table: RawTable, key: str) -> str:
        position = table.find(self._names(key))
        return table.header[position] if position is not None else key

    def _check(self, table: RawTable) -> None:
        if self.ready:
            return
        needed = {
            "surveys": ("survey", "gear", "start"),
            "catch": ("survey", "species"),
            "fish": ("survey", "species"),
        }[self.recipe.kind]
        for key in needed:
            if not self._has(table, key):
                table.need(self._names(key) or (key,), key.replace("_", " "), self.recipe.name)
        if self.recipe.kind == "catch" and not (
            self._has(table, "count") or self._has(table, "occurrence_status")
        ):
            table.need(self._names("count") or ("count",), "count", self.recipe.name)
        used = {
            p
            for key in type(self.recipe.fields).model_fields
            if isinstance(getattr(self.recipe.fields, key), tuple)
            for n in self._names(key)
            if (p := table.find((n,))) is not None
        } | {table.find((n,)) for n in self.recipe.not_imported}
        self.unused = tuple(h for i, h in enumerate(table.header) if h and i not in used)
        self.ready = True

    def _text(self, table: RawTable, key: str) -> np.ndarray:
        """Text of a field, row by row: the first of its columns that is not empty, else the fixed text."""
        out = np.full(len(table), "", dtype=object)
        for name in self._names(key):
            position = table.find((name,))
            if position is not None:
                coded = table.encoded(position)
                blank = is_missing(coded.texts, self.recipe.missing)
                texts = np.where(blank, "", np.array(coded.texts, dtype=object))
                out = np.where(out == "", coded.spread(texts), out)
        fixed = self.recipe.fields.fixed.get(key, "")
        return np.where(out == "", fixed, out) if fixed else out

    def _refuse(
        self,
        table: RawTable,
        issues: Issues,
        key: str,
        texts: np.ndarray,
        mask: np.ndarray,
        reason: str,
        remedy: str,
    ) -> None:
        rows = np.flatnonzero(mask)
        issues.add(rows, self._header(table, key), texts[rows], reason, remedy)

    def _number(
        self, table: RawTable, key: str, issues: Issues, unit: str = "", to: str = "", *, whole: bool = False
    ) -> np.ndarray:
        """Number of a field, NaN where empty."""
        texts = self._text(table, key)
        codes, kinds = pd.factorize(texts)
        file = self.recipe.file
        parsed = parse_values(
            [str(k) for k in kinds], self.recipe.missing, frozenset(), file.decimal, file.thousands
        )
        number, bad = parsed.number.copy(), np.array([bool(r) for r in parsed.reason], bool)
        label = header_unit(self._header(table, key)) or unit
        for i in np.flatnonzero(~np.isnan(number)) if to else ():
            try:
                number[i] = convert(float(number[i]), str(parsed.unit[i]) or label, to)
            except UnitError:
                bad[i] = True
        bad |= parsed.sign != ""
        if not to:
            bad |= parsed.unit != ""
        noun = key.replace("_", " ")
        self._refuse(
            table, issues, key, texts, bad[codes], f"not a {noun}", "Give one number, or leave it empty."
        )
        out: np.ndarray = number[codes]
        if whole:
            fraction = ~np.isnan(out) & (out != np.floor(out))
            self._refuse(
                table, issues, key, texts, fraction, f"a {noun} that is not whole",
                "Give what was counted; numbers expanded from a part of the catch are not counts.",
            )  # fmt: skip
        low, high, shown = _LIMITS.get(key, (0.0, np.inf, ""))
        with np.errstate(invalid="ignore"):
            off = (out < low) | (out > high)
        self._refuse(
            table,
            issues,
            key,
            texts,
            off,
            f"an impossible {noun}",
            f"Possible is {low:g} to {high:g} {shown}; check the unit."
            if shown
            else "It cannot be negative.",
        )
        return out
