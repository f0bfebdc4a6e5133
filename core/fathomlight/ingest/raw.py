"""A piece of a file as text cells: what every source hands on, whatever kind of file it reads."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fathomlight.errors import RecipeError
from fathomlight.ingest.recipe import plain_name

__all__ = ["Encoded", "RawTable", "Source", "Spoiled", "unique_header"]


_UNIT_BEHIND = re.compile(r"\s*\[[^\[\]]*\]\s*$")


@dataclass(frozen=True, slots=True)
class Encoded:
    """One column as codes into its different texts (stripped of blanks).

    Attributes
    ----------
    codes : numpy.ndarray of int, shape (rows,)
        Position in ``texts``.
    texts : list of str
        The different texts.
    """

    codes: np.ndarray
    texts: list[str]

    def spread(self, per_text: np.ndarray) -> np.ndarray:
        """Give every row what was found out about its text."""
        out: np.ndarray = per_text[self.codes]
        return out


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A row that cannot be split into cells."""

    line: int
    text: str
    reason: str
    remedy: str


def unique_header(cells: Iterable[str]) -> tuple[str, ...]:
    """Make column names differ by numbering repeats.

    Parameters
    ----------
    cells : iterable of str
        Header cells.

    Returns
    -------
    tuple of str
        The same, blanks reduced, a repeated name followed by ``(2)``.

    Examples
    --------
    >>> unique_header(["Depth ", "Temp", "Depth"])
    ('Depth', 'Temp', 'Depth (2)')
    """
    seen: dict[str, int] = {}
    out = []
    for cell in cells:
        name = " ".join(cell.split())
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(out)


@dataclass(slots=True)
class RawTable:
    """Some rows of a file as text.

    Attributes
    ----------
    file : str
        Name for messages.
    header : tuple of str
        Column names, all different.
    units : mapping of str to str
        Column name -> text of the unit row.
    columns : list of pyarrow.Array of string
        One per column.
    line : numpy.ndarray of int, shape (rows,)
        Line on which each row begins, from 1.
    preamble : mapping of str to str
        ``label: value`` lines above the header, by plain name.
    spoiled : list of Spoiled
        Rows that could not be split.
    left_out : int
        Lines that the recipe leaves out (comments, footer).
    """

    file: str
    header: tuple[str, ...]
    columns: list[pa.Array]
    line: np.ndarray
    units: Mapping[str, str] = field(default_factory=dict)
    preamble: Mapping[str, str] = field(default_factory=dict)
    spoiled: list[Spoiled] = field(default_factory=list)
    left_out: int = 0
    kept_label: str = ""
    """Label above the header that belongs to every row."""
    filled: dict[object, np.ndarray] = field(default_factory=dict)
    """Rows that have a value in a column; see :func:`fathomlight.ingest.cells.has_value`."""
    _encoded: dict[int, Encoded] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.line)

    def find(self, names: Sequence[str]) -> int | None:
        """Return the position of the first of the names that is a column, None when none is.

        A unit in square brackets behind a column's name does not matter.
        """
        for name in names:
            if name in self.header:
                return self.header.index(name)
        plain = [plain_name(h) for h in self.header]
        bare = [plain_name(_UNIT_BEHIND.sub("", h)) for h in self.header]
        for known in (plain, bare):
            for name in names:
                if plain_name(name) in known:
                    return known.index(plain_name(name))
        return None

    def need(self, names: Sequence[str], purpose: str, recipe: str) -> int:
        """Return the position of a column that must be there.

        Raises
        ------
        RecipeError
            Names the column, what the file has, and the nearest name.
        """
        found = self.find(names)
        if found is not None:
            return found
        near = difflib.get_close_matches(names[0], self.header, n=1, cutoff=0.5)
        raise RecipeError(
            f"recipe {recipe!r} does not fit: the column for the {purpose} is not in the file",
            where=self.file,
            got="columns " + ", ".join(self.header[:40]),
            expected=" or ".join(repr(n) for n in names),
            fix=(f"Did you mean {near[0]!r}? " if near else "")
            + "Choose another recipe, or change this one.",
        )

    def encoded(self, position: int) -> Encoded:
        """Return one column as codes into its different texts; remembered."""
        if position not in self._encoded:
            stripped = pc.utf8_trim_whitespace(self.columns[position])
            coded = stripped.dictionary_encode()
            codes = coded.indices.to_numpy(zero_copy_only=False)
            self._encoded[position] = Encoded(codes, coded.dictionary.to_pylist())
        return self._encoded[position]

    def cells(self, row: int) -> dict[str, str]:
        """Return one row as column name -> text."""
        return {h: c[row].as_py() for h, c in zip(self.header, self.columns, strict=True)}

    def row_texts(self, rows: np.ndarray) -> list[str]:
        """Return rows as JSON objects, column name -> text, to be shown, mended and read again.

        Units of a unit row stand in square brackets behind the name; labels above the header that name the station
        become a column: a row taken out of its file must not lose them.
        """
        picked = [c.take(pa.array(rows, pa.int64())).to_pylist() for c in self.columns]
        names = [f"{h} [{self.units[h]}]" if h in self.units else h for h in self.header]
        more = (
            {self.kept_label: self.preamble.get(plain_name(self.kept_label), "")} if self.kept_label else {}
        )
        return [
            json.dumps(more | dict(zip(names, cells, strict=True)), ensure_ascii=False)
            for cells in zip(*picked, strict=True)
        ]


class Source(Protocol):
    """What a kind of file offers."""

    name: str
    warnings: list[str]

    def chunks(self) -> Iterator[RawTable]:
        """Give the file piece by piece."""
        ...
