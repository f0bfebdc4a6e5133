"""Cells of tables that people open in a spreadsheet: escaping what a spreadsheet would run as a formula.

A text that begins with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return is executed by spreadsheet
programmes when a CSV file is opened (OWASP Foundation, "CSV Injection").

Numbers stay numbers: ``-1.5`` is left alone.
"""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

__all__ = ["escape_cell", "escape_frame", "unescape_cell"]

_DANGER = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\Z")


def escape_cell(value: Any) -> Any:
    r"""Make a cell safe for a spreadsheet program: put an apostrophe before it where needed.

    Parameters
    ----------
    value : object
        A cell; anything but text is returned as it is.

    Returns
    -------
    object
        The same, or the text with a leading ``'``. A text that has apostrophes before such a sign
        gets one more, so that :func:`unescape_cell` always gives back the original.

    Examples
    --------
    >>> escape_cell("=1+1"), escape_cell("-1.5"), escape_cell("- calm"), escape_cell(-1.5)
    ("'=1+1", '-1.5', "'- calm", -1.5)
    """
    if not isinstance(value, str):
        return value
    bare = value.lstrip("'")
    return "'" + value if bare.startswith(_DANGER) and not (bare == value and _NUMBER.match(value)) else value


def unescape_cell(value: Any) -> Any:
    """Take off what :func:`escape_cell` put on.

    Parameters
    ----------
    value : object
        A cell.

    Returns
    -------
    object
        The cell as it was.

    Examples
    --------
    >>> unescape_cell("'=1+1"), unescape_cell("'tis clear")
    ('=1+1', "'tis clear")
    """
    if isinstance(value, str) and value.startswith("'") and value.lstrip("'").startswith(_DANGER):
        return value[1:]
    return value


def escape_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """Escape every text cell, and the column names, of a table.

    Parameters
    ----------
    frame : pandas.DataFrame
        Any table; it is not changed.

    Returns
    -------
    pandas.DataFrame
        A copy, safe to be written as CSV or XLSX.
    """
    out = frame.copy()
    for name in out.columns:
        if out[name].dtype == object or isinstance(out[name].dtype, (pd.StringDtype, pd.CategoricalDtype)):
            texts = out[name].astype(object)
            seen = {text: escape_cell(text) for text in texts.dropna().unique()}
            out[name] = texts.map(lambda cell, seen=seen: seen.get(cell, cell))
    out.columns = pd.Index([escape_cell(str(name)) for name in out.columns])
    return out
