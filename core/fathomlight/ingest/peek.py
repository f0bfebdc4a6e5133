"""The beginning of a file, as rows of text with their lines: what a recipe is proposed from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fathomlight.ingest.opening import check_size, file_kind
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.result import ReadLimits
from fathomlight.ingest.text import Record, detect_encoding, read_head, sniff_delimiter, split_records

__all__ = ["Peek", "peek_here"]

ROWS = 300


@dataclass(frozen=True, slots=True)
class Peek:
    """What a file begins with.

    Attributes
    ----------
    name : str
        File name.
    kind : {"csv", "xlsx", "netcdf"}
        What reads it.
    records : list of Record
        First rows; empty for NetCDF.
    encoding, delimiter : str
        Of a text file.
    sheets : tuple of str
        Of a workbook; ``sheet`` is the one that was looked at.
    """

    name: str
    kind: str
    records: list[Record]
    encoding: str = ""
    delimiter: str = ","
    sheets: tuple[str, ...] = ()
    sheet: str = ""

    def to_plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "name": self.name,
            "kind": self.kind,
            "records": [[r.first, r.last, r.cells] for r in self.records],
            "encoding": self.encoding,
            "delimiter": self.delimiter,
            "sheets": list(self.sheets),
            "sheet": self.sheet,
        }

    @classmethod
    def from_plain(cls, data: dict[str, Any]) -> Peek:
        """Make it from plain data."""
        records = [Record(int(a), int(b), [str(c) for c in cells]) for a, b, cells in data["records"]]
        return cls(**{**data, "records": records, "sheets": tuple(data["sheets"])})


def peek_here(path: Path, limits: ReadLimits, sheet: str | None = None, recipe: Recipe | None = None) -> Peek:
    """Look at the beginning of a file, in this process.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    limits : ReadLimits
        For workbooks.
    sheet : str, optional
        Sheet of a workbook; the first when left out, or the filled template's own.
    recipe : Recipe, optional
        Not used but for its declared kind of file.

    Returns
    -------
    Peek
        The first rows.
    """
    check_size(path, limits)
    kind = file_kind(path, recipe)
    if kind == "netcdf":
        return Peek(path.name, kind, [])
    if kind == "csv":
        encoding = detect_encoding(path)
        text = read_head(path, encoding, path.name)
        delimiter = sniff_delimiter(text)
        records = list(split_records(text, delimiter, limit=ROWS))
        return Peek(path.name, kind, records, encoding, delimiter)
    from fathomlight.ingest.xlsx_source import TEMPLATE_SHEET, cell_text, load_sheet, sheet_names

    titles = sheet_names(path, limits)
    wanted = sheet or (TEMPLATE_SHEET if TEMPLATE_SHEET in titles else "")
    title, rows, first = load_sheet(path, wanted, [])
    records = [Record(first + i, first + i, [cell_text(c) for c in row]) for i, row in enumerate(rows[:ROWS])]
    return Peek(path.name, kind, records, sheets=tuple(titles), sheet=title)
