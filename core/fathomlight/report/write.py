"""Write a report as a file: a page of HTML, or a PDF."""

from __future__ import annotations

import ctypes
import functools
import logging
from importlib.util import find_spec
from pathlib import Path

from fathomlight.errors import ArgumentError, MissingExtraError
from fathomlight.export.safely import write_safely
from fathomlight.report.document import Report

ENDINGS = (".html", ".pdf")


_LIBRARIES = (
    "libgobject-2.0.so.0",
    "libpango-1.0.so.0",
    "libpangoft2-1.0.so.0",
    "libharfbuzz.so.0",
    "libfontconfig.so.1",
)
"""What weasyprint loads from a Linux system."""


@functools.cache
def pdf_available() -> bool:
    """Return whether PDF can be written here: the package weasyprint and the libraries it needs.

    Where its libraries are found under their usual names, the package itself is not imported: that takes a second
    and 30 MB, and who asks may only want to show a button.
    """
    if find_spec("weasyprint") is None:
        return False
    try:
        for name in _LIBRARIES:
            ctypes.CDLL(name)
    except OSError:  # other names, or none: only the package knows
        return _imports()
    return True


def _imports() -> bool:
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError):
        return False
    return True


def report_pdf(report: Report) -> bytes:
    """Turn a report into a PDF.

    Parameters
    ----------
    report : Report
        Of :func:`~fathomlight.report.station_report` and its like.

    Returns
    -------
    bytes
        Tagged PDF in the report's paper size. Nothing outside the page is fetched.

    Raises
    ------
    fathomlight.errors.MissingExtraError
        The extra ``pdf`` is not installed, or its system library (Pango) is missing.
    """
    try:
        import weasyprint
    except (ImportError, OSError):
        raise MissingExtraError("weasyprint (with Pango)", "pdf", "Writing a PDF") from None
    # Properties meant for browsers are no news to whoever makes a PDF.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    page = weasyprint.HTML(string=report.html, url_fetcher=_refuse)
    content: bytes = page.write_pdf(pdf_tags=True)
    return content


def _refuse(url: str, *_: object, **__: object) -> object:
    raise ValueError(f"a report asks nothing of any other place, yet this was asked for: {url}")


def check_ending(path: Path) -> str:
    """Return the ending of a report's file, or say which there are."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise ArgumentError(
            "path", "a report is .html or .pdf", got=path.name, fix="Give the file one of the two."
        )
    return ending


def write_report(report: Report, path: str | Path) -> Path:
    """Write a report as ``.html`` or ``.pdf``, whole or not at all.

    Parameters
    ----------
    report : Report
        The report.
    path : str or pathlib.Path
        The file; its ending says what is written.

    Returns
    -------
    pathlib.Path
        What was written.

    Raises
    ------
    fathomlight.errors.ArgumentError
        Another ending.
    fathomlight.errors.MissingExtraError
        PDF without the extra ``pdf``.
    """
    target = Path(path)
    ending = check_ending(target)
    content = report_pdf(report) if ending == ".pdf" else report.html.encode("utf-8")
    return write_safely(target, lambda place: place.write_bytes(content))
