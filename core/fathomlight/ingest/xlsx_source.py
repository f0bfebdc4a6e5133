"""Workbooks: one sheet as text cells. Dates become ISO text, whichever epoch the workbook counts from.

Formulas count by the value that is stored with them; one without a stored value is shown as ``=...`` and
refused as a value, so that it does not pass for an empty cell. Nothing is evaluated. Line numbers are the
sheet's row numbers.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError, fromstring

import numpy as np
import pyarrow as pa

from fathomlight.errors import RecipeError, UnreadableFileError
from fathomlight.ingest.raw import RawTable, Spoiled
from fathomlight.ingest.recipe import Recipe, plain_name
from fathomlight.ingest.result import ReadLimits
from fathomlight.ingest.safety import check_workbook, empty_formulas
from fathomlight.ingest.text import Record, find_header, preamble_labels

__all__ = ["TEMPLATE_SHEET", "XlsxSource", "cell_text", "load_sheet", "sheet_names"]

ROWS = 50_000
TEMPLATE_SHEET = "Visits"
"""Sheet of the field workbook that holds the visits."""


def cell_text(value: Any) -> str:
    """Write a cell as text.

    Parameters
    ----------
    value : object
        What the reader gives: text, number, truth value, date, time, duration or nothing.

    Returns
    -------
    str
        Whole numbers without a point; dates as ISO 8601; clock times as ``HH:MM:SS``.

    Examples
    --------
    >>> cell_text(930.0), cell_text(0.1 + 0.2), cell_text(dt.datetime(1995, 4, 24)), cell_text(True)
    ('930', '0.3', '1995-04-24T00:00:00', 'yes')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, dt.datetime):
        rounded = (value + dt.timedelta(microseconds=500)).replace(microsecond=0)
        return rounded.isoformat()
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()[:10]
    if isinstance(value, dt.timedelta):
        seconds = round(value.total_seconds())
        return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"
    return "" if value is None else str(value)


@dataclass
class XlsxSource:
    """One sheet of a workbook.

    Attributes
    ----------
    path : pathlib.Path
        The workbook.
    recipe : Recipe
        How it is read; ``file.sheet`` names the sheet unless ``sheet`` does.
    limits : ReadLimits
        What is allowed.
    """

    path: Path
    recipe: Recipe
    limits: ReadLimits
    sheet: str | None = None
    progress: Callable[[int, int], None] | None = None
    name: str = ""
    warnings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        check_workbook(self.path, self.limits)
        self.title, rows, first = load_sheet(self.path, self.sheet or self.recipe.file.sheet, self.warnings)
        self.name = f"{self.path.name} [{self.title}]"
        self.rows = rows
        self.first = first
        head = [
            Record(first + i, first + i, [cell_text(c) for c in row]) for i, row in enumerate(rows[:2000])
        ]
        self.header, last = find_header(head, self.recipe, self.name)
        self.preamble = preamble_labels(head, last)
        part = self.recipe.file
        units = next((r.cells for r in head if r.first == part.unit_row), []) if part.unit_row else []
        self.units = {h: u.strip() for h, u in zip(self.header, units, strict=False) if u.strip()}
        self.begin = max(last, part.unit_row or 0) + 1 - first

    def chunks(self) -> Iterator[RawTable]:
        """Give the sheet piece by piece."""
        part = self.recipe.file
        end = len(self.rows)
        while end > self.begin and not any(cell_text(c).strip() for c in self.rows[end - 1]):
            end -= 1
        end = max(end - part.footer_rows, self.begin)
        for start in range(self.begin, max(end, self.begin + 1), ROWS):
            yield self._piece(start, min(start + ROWS, end))
            if self.progress:
                self.progress(min(start + ROWS, end), end)

    def _piece(self, start: int, stop: int) -> RawTable:
        width, part = len(self.header), self.recipe.file
        kept: list[list[str]] = []
        lines: list[int] = []
        spoiled: list[Spoiled] = []
        left_out = 0
        for offset in range(start, stop):
            line = self.first + offset
            cells = [cell_text(c) for c in self.rows[offset]]
            text = cells[0] if cells else ""
            if not any(c.strip() for c in cells):
                continue
            footer = any(text.startswith(s) for s in part.footer_starts)
            if line in part.skip_rows or (part.comment and text.startswith(part.comment)) or footer:
                left_out += 1
                if footer:
                    break
                continue
            if any(c.strip() for c in cells[width:]):
                spoiled.append(
                    Spoiled(line, "\t".join(cells), "the row has cells to the right of the header",
                            "Give those cells a header, or empty them.")
                )  # fmt: skip
                continue
            kept.append((cells + [""] * width)[:width])
            lines.append(line)
        columns = [pa.array(list(c), pa.string()) for c in zip(*kept, strict=True)] if kept else []
        columns = columns or [pa.array([], pa.string()) for _ in self.header]
        table = RawTable(
            self.name, self.header, columns, np.array(lines, np.int64), self.units, self.preamble
        )
        table.spoiled, table.left_out = spoiled, left_out
        return table


def load_sheet(path: Path, wanted: str, warnings: list[str]) -> tuple[str, list[list[Any]], int]:
    """Load one sheet of a workbook that has passed :func:`~fathomlight.ingest.safety.check_workbook`.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    wanted : str
        Title of the sheet; empty for the first.
    warnings : list of str
        Receives what a person should know.

    Returns
    -------
    title : str
        The sheet's own.
    rows : list of list
        Cells as the reader gives them.
    first : int
        Number of the first row, from 1.
    """
    import python_calamine as calamine

    try:
        book = calamine.CalamineWorkbook.from_path(str(path))
        title = _choose(path.name, list(book.sheet_names), wanted)
        sheet = book.get_sheet_by_name(title)
        rows = [list(row) for row in sheet.to_python(skip_empty_area=True)]
        origin = sheet.start or (0, 0)
    except RecipeError:
        raise
    except Exception as error:
        raise UnreadableFileError(
            "the workbook cannot be read", where=path.name, got=str(error),
            fix="Save it again from the spreadsheet programme, or export the sheet as CSV.",
        ) from None  # fmt: skip
    rows = [[""] * origin[1] + row for row in rows]
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        _show_formulas(path, title, rows, origin[0], warnings)
    return title, rows, origin[0] + 1


def sheet_names(path: Path, limits: ReadLimits) -> list[str]:
    """Return the titles of a workbook's sheets, after the safety checks."""
    import python_calamine as calamine

    check_workbook(path, limits)
    try:
        return list(calamine.CalamineWorkbook.from_path(str(path)).sheet_names)
    except Exception as error:
        raise UnreadableFileError(
            "the workbook cannot be read",
            where=path.name,
            got=str(error),
            fix="Save it again, or export it as CSV.",
        ) from None


def _choose(name: str, titles: list[str], wanted: str) -> str:
    if not titles:
        raise UnreadableFileError("the workbook has no sheet", where=name)
    if not wanted:
        return titles[0]
    for title in titles:
        if plain_name(title) == plain_name(wanted):
            return title
    raise RecipeError(
        "the workbook has no such sheet", where=name, got=wanted, expected="one of " + ", ".join(titles)
    )


def _show_formulas(path: Path, title: str, rows: list[list[Any]], first: int, warnings: list[str]) -> None:
    """Put ``=...`` into cells whose formula has no stored value."""
    found = empty_formulas(path)
    part = _part_of(path, title) if found else ""
    if found and not part:
        raise UnreadableFileError(
            "the workbook is damaged",
            where=path.name,
            got=f"no part for sheet {title}",
            fix="Save it again from the spreadsheet programme.",
        )
    cells = found.get(part, {})
    for (row, column), text in cells.items():
        r, c = row - 1 - first, column - 1
        if 0 <= r < len(rows):
            rows[r].extend([""] * (c + 1 - len(rows[r])))
            rows[r][c] = text
    if cells:
        warnings.append(
            f"{len(cells)} cells hold a formula without a stored value: open the workbook, "
            "let it calculate, and save it"
        )


def _part_of(path: Path, title: str) -> str:
    """Name of the part that holds a sheet."""
    relation = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
    with zipfile.ZipFile(path) as archive:
        try:
            book = fromstring(_no_doctype(archive.read("xl/workbook.xml")))
            links = fromstring(_no_doctype(archive.read("xl/_rels/workbook.xml.rels")))
        except (
            KeyError,
            ParseError,
            ValueError,
            zipfile.BadZipFile,
            NotImplementedError,
            OSError,
            zlib.error,
        ):
            return ""
    targets = {link.get("Id"): link.get("Target", "") for link in links}
    for node in book.iter():
        if node.tag.endswith("}sheet") and node.get("name") == title:
            target = targets.get(node.get(relation), "").lstrip("/")
            return target if target.startswith("xl/") else f"xl/{target}"
    return ""


def _no_doctype(data: bytes) -> bytes:
    """Refuse XML that declares entities: a workbook has none."""
    if re.search(rb"<!(DOCTYPE|ENTITY)", data, re.I):
        raise ValueError("a document type in a workbook")
    return data
