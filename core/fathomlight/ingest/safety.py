"""Look into a workbook before it is opened: size, parts, packing, and how far its cells reach.

A workbook is a ZIP archive. A few kilobytes can declare gigabytes, or put one cell into the last row and
column so that a reader which lays the sheet out as a rectangle asks for more memory than there is. What is
checked here is what the archive says of itself; the reading process has limits of its own for archives that
lie.
"""

from __future__ import annotations

import re
import zipfile
from pathlib import Path, PurePosixPath

from fathomlight.errors import UnreadableFileError, UnsafeFileError
from fathomlight.ingest.result import ReadLimits

__all__ = ["check_workbook", "empty_formulas", "sheet_extent"]

_REFERENCE = re.compile(rb"""\br\s*=\s*["'](?:([A-Za-z]{1,3}))?(\d{1,7})["']""")
_FORMULA = re.compile(
    rb"""<(?:\w+:)?c\b[^>]*?\br=["']([A-Z]{1,3})(\d{1,7})["'][^>]*>\s*<(?:\w+:)?f\b[^>]*?(?:/>|>([^<]*)</(?:\w+:)?f>)"""
    rb"""\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"""
)
_BLOCK = 1 << 20
_SMALL = 1 << 20


def _unsafe(name: str, what: str, got: str, expected: str) -> UnsafeFileError:
    return UnsafeFileError(
        what,
        where=name,
        got=got,
        expected=expected,
        fix="Copy the cells into a new workbook, or export the sheet as CSV.",
    )


def check_workbook(path: Path, limits: ReadLimits) -> None:
    """Refuse a workbook that is damaged, or built to exhaust its reader.

    Parameters
    ----------
    path : pathlib.Path
        An .xlsx, .xlsm or .ods file. An .xls file is no archive and passes.
    limits : ReadLimits
        What is allowed.

    Raises
    ------
    UnreadableFileError
        It is not an archive, or encrypted.
    UnsafeFileError
        Too many parts, too large or too tightly packed; names that lead out of the archive; parts that
        overlap; cells too far out.
    """
    with path.open("rb") as file:
        if not file.read(4).startswith(b"PK"):
            return
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            _check_parts(path, parts, limits)
            for part in parts:
                if _is_sheet(part.filename):
                    _check_extent(path.name, archive, part, limits)
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        EOFError,
        OSError,
        ValueError,
        NotImplementedError,
    ) as error:
        raise UnreadableFileError(
            "the workbook is damaged",
            where=path.name,
            got=str(error),
            fix="Save it again from the spreadsheet programme.",
        ) from None
    except Exception as error:
        if isinstance(error, UnreadableFileError):
            raise
        raise UnreadableFileError("the workbook is damaged", where=path.name, got=str(error)) from None


def _is_sheet(name: str) -> bool:
    low = name.lower()
    return low.endswith(".xml") and "worksheets/" in low


def _check_parts(path: Path, parts: list[zipfile.ZipInfo], limits: ReadLimits) -> None:
    name, size = path.name, path.stat().st_size
    if len(parts) > limits.max_parts:
        raise _unsafe(name, "the workbook has too many parts", str(len(parts)), f"at most {limits.max_parts}")
    unpacked = sum(p.file_size for p in parts)
    if unpacked > limits.max_unpacked_bytes:
        raise _unsafe(
            name, "the workbook is too large when unpacked", f"{unpacked / 2**20:,.0f} MB",
            f"at most {limits.max_unpacked_bytes / 2**20:,.0f} MB",
        )  # fmt: skip
    if sum(p.compress_size for p in parts) > size:
        raise _unsafe(
            name, "parts of the workbook overlap", "more packed bytes than the file has", "separate parts"
        )
    for part in parts:
        if part.flag_bits & 0x1:
            raise UnreadableFileError(
                "the workbook is protected by a password", where=name, fix="Save it without a password."
            )
        pure = PurePosixPath(part.filename.replace("\\", "/"))
        if (
            pure.is_absolute()
            or ".." in pure.parts
            or re.match(r"[A-Za-z]:", part.filename)
            or "\x00" in part.filename
        ):
            raise _unsafe(
                name, "a part of the workbook has a name that leads out of it", part.filename, "plain names"
            )
        if part.file_size > _SMALL and part.file_size > limits.max_ratio * max(part.compress_size, 1):
            raise _unsafe(
                name, "a part of the workbook is packed too tightly",
                f"{part.filename}: {part.file_size:,} bytes out of {part.compress_size:,}",
                f"at most {limits.max_ratio:g} times its packed size",
            )  # fmt: skip


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def sheet_extent(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> tuple[int, int]:
    """Find the last row and column that a sheet names.

    Parameters
    ----------
    archive : zipfile.ZipFile
        The workbook.
    part : zipfile.ZipInfo
        The sheet's XML.

    Returns
    -------
    rows, columns : int
        Both from 1; 0 when no cell has a reference.
    """
    rows = columns = 0
    tail = b""
    with archive.open(part) as stream:
        while block := stream.read(_BLOCK):
            text = tail + block
            for letters, number in set(_REFERENCE.findall(text)):
                rows = max(rows, int(number))
                if letters:
                    columns = max(columns, _column_number(letters))
            tail = text[-64:]
    return rows, columns


def _check_extent(name: str, archive: zipfile.ZipFile, part: zipfile.ZipInfo, limits: ReadLimits) -> None:
    rows, columns = sheet_extent(archive, part)
    if rows * max(columns, 1) > limits.max_cells:
        raise _unsafe(
            name,
            "a sheet reaches too far: cells are filled far below or to the right of the table",
            f"{part.filename}: {rows:,} rows times {columns:,} columns",
            f"at most {limits.max_cells:,} cells",
        )


def empty_formulas(path: Path) -> dict[str, dict[tuple[int, int], str]]:
    """Find cells that hold a formula and no stored value: they would look empty.

    Parameters
    ----------
    path : pathlib.Path
        An .xlsx file that has passed :func:`check_workbook`.

    Returns
    -------
    dict of str to dict
        Part name -> (row, column from 1) -> text ``=formula``. Formulas are never evaluated.
    """
    found: dict[str, dict[tuple[int, int], str]] = {}
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            if not _is_sheet(part.filename):
                continue
            tail, cells = b"", {}
            with archive.open(part) as stream:
                while block := stream.read(_BLOCK):
                    text = tail + block
                    for letters, row, formula in _FORMULA.findall(text):
                        where = (int(row), _column_number(letters))
                        cells[where] = "=" + formula.decode("utf-8", "replace")[:100]
                    tail = text[-2048:]
            if cells:
                found[part.filename] = cells
    return found
