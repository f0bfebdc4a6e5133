"""What kind of file is this, is it small enough, and what reads it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from fathomlight.errors import UnreadableFileError, UnsafeFileError
from fathomlight.ingest.csv_source import CsvSource
from fathomlight.ingest.raw import Source
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.result import ReadLimits

__all__ = ["check_size", "file_kind", "hash_file", "open_source"]

Progress = Callable[[int, int], None]
WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
NETCDF = (".nc", ".nc4", ".cdf")


def file_kind(path: Path, recipe: Recipe | None = None) -> str:
    """Say what reads a file: ``csv``, ``xlsx`` or ``netcdf``.

    Parameters
    ----------
    path : pathlib.Path
        The file; its first bytes count more than its name.
    recipe : Recipe, optional
        Its ``file.format`` wins.

    Returns
    -------
    str
        The kind of source.

    Raises
    ------
    UnreadableFileError
        The file is not there, or is something else.
    """
    if recipe is not None and recipe.file.format != "auto":
        return recipe.file.format
    try:
        with path.open("rb") as file:
            head = file.read(8)
    except OSError as error:
        raise UnreadableFileError(
            "the file cannot be opened", where=str(path), got=error.strerror or str(error)
        ) from None
    suffix = path.suffix.lower()
    if head.startswith(b"PK\x03\x04") or head.startswith(b"\xd0\xcf\x11\xe0"):
        if suffix in WORKBOOKS:
            return "xlsx"
        raise UnreadableFileError(
            "this is a packed file, not a table",
            where=path.name,
            got=suffix or "no suffix",
            expected="a workbook named " + ", ".join(WORKBOOKS) + ", or text",
            fix="Unpack it and load the files in it one by one.",
        )
    if head.startswith(b"\x89HDF") or head.startswith(b"CDF"):
        return "netcdf"
    if suffix in WORKBOOKS or suffix in NETCDF:
        raise UnreadableFileError(
            f"this is not a {suffix} file, whatever its name says",
            where=path.name,
            got=repr(head),
            fix="Save it again from the programme that made it.",
        )
    return "csv"


def hash_file(path: Path, limits: ReadLimits) -> str:
    """Return the SHA-256 of a file, after checking its size.

    Raises
    ------
    UnreadableFileError
        It is not there.
    UnsafeFileError
        It is larger than ``limits.max_bytes``.
    """
    check_size(path, limits)
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise UnreadableFileError(
            "the file cannot be opened", where=str(path), got=error.strerror or str(error)
        ) from None
    return digest.hexdigest()


def check_size(path: Path, limits: ReadLimits) -> None:
    """Refuse a file that is not there or too large.

    Raises
    ------
    UnreadableFileError
        It is not there, or not a file.
    UnsafeFileError
        It is larger than ``limits.max_bytes``.
    """
    try:
        size = path.stat().st_size
    except (OSError, ValueError) as error:
        raise UnreadableFileError("the file cannot be opened", where=str(path), got=str(error)) from None
    if not path.is_file():
        raise UnreadableFileError("this is not a file", where=str(path), got="a folder or device")
    if size > limits.max_bytes:
        raise UnsafeFileError(
            "the file is too large",
            where=path.name,
            got=f"{size / 2**20:,.0f} MB",
            expected=f"at most {limits.max_bytes / 2**20:,.0f} MB",
            fix="Split it, or raise the limit (ReadLimits.max_bytes).",
        )


def open_source(
    path: Path, recipe: Recipe, limits: ReadLimits, sheet: str | None, progress: Progress | None
) -> Source:
    """Open a file as what it is."""
    kind = file_kind(path, recipe)
    if kind == "csv":
        return CsvSource(path, recipe, progress)
    if kind == "xlsx":
        from fathomlight.ingest.xlsx_source import XlsxSource

        return XlsxSource(path, recipe, limits, sheet, progress)
    from fathomlight.ingest.netcdf_source import NetcdfSource

    return NetcdfSource(path, recipe, progress)
