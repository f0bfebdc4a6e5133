"""Cells that hold a value: number, sign before it, unit behind it, code instead of it.

Every different text of a column is read once; numbers all at once, the rest one by one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from fathomlight.errors import UnitError
from fathomlight.ingest.recipe import MissingPart
from fathomlight.units import split_value_unit

__all__ = ["ParsedValues", "is_missing", "parse_numbers", "parse_values"]

_PLAIN = r"\A[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\z"
_SIGN = re.compile(r"(<=|>=|≤|≥|<|>|=|≈|~|ca\.?\s)\s*(.*)\Z", re.DOTALL)
_SIGNS = {"<": "<", "<=": "<", "≤": "<", ">": ">", ">=": ">", "≥": ">", "=": ""}
_TRAILING = re.compile(r"(.*\d\s*(?:[A-Za-z/°µ]*))\s*(\+)\Z", re.DOTALL)


@dataclass(frozen=True, slots=True)
class ParsedValues:
    """What each different text of a column says; all arrays have one entry per text.

    Attributes
    ----------
    number : numpy.ndarray of float
        NaN when there is none.
    sign : numpy.ndarray of object
        ``<``, ``>`` or empty.
    unit : numpy.ndarray of object
        Unit written behind the number, or empty.
    code : numpy.ndarray of object
        A code that stands instead of, or behind, the number, lower case; or empty.
    missing : numpy.ndarray of bool
        The text stands for "no value".
    reason : numpy.ndarray of object
        Why it cannot be read; empty when it can.
    """

    number: np.ndarray
    sign: np.ndarray
    unit: np.ndarray
    code: np.ndarray
    missing: np.ndarray
    reason: np.ndarray


def is_missing(texts: Iterable[str], missing: MissingPart) -> np.ndarray:
    """Say which texts stand for "no value".

    Parameters
    ----------
    texts : iterable of str
        Cells, stripped.
    missing : MissingPart
        The recipe's codes.

    Returns
    -------
    numpy.ndarray of bool
        One per text.
    """
    words = {t.casefold() for t in missing.texts} | {""}
    longest = max(map(len, words))
    return np.array([len(t) <= longest and t.casefold() in words for t in texts], dtype=bool)


def _prepare(texts: list[str], decimal: str, thousands: str) -> list[str]:
    if thousands:
        texts = [t.replace(thousands, "") for t in texts]
    if decimal == ",":
        texts = [t.replace(",", ".", 1) if t.count(",") == 1 and "." not in t else t for t in texts]
    return texts


def parse_numbers(texts: list[str], decimal: str = ".", thousands: str = "") -> np.ndarray:
    """Read plain numbers.

    Parameters
    ----------
    texts : list of str
        Cells, stripped.
    decimal, thousands : str
        Signs of the file.

    Returns
    -------
    numpy.ndarray of float
        NaN where the text is anything but one finite number.

    Examples
    --------
    >>> parse_numbers(["1.5", "-2", "1e3", "inf", "0x10", "two", ""])
    array([   1.5,   -2. , 1000. ,    nan,    nan,    nan,    nan])
    """
    cells = np.array(_prepare(texts, decimal, thousands), dtype=object)
    numbers = np.full(len(cells), np.nan)
    matches = pc.match_substring_regex(pa.array(cells, pa.string()), _PLAIN)
    plain = np.flatnonzero(matches.to_numpy(zero_copy_only=False))
    if len(plain):
        numbers[plain] = pd.to_numeric(pd.Series(cells[plain], dtype=object), errors="coerce").to_numpy(
            dtype=float
        )
    numbers[~np.isfinite(numbers)] = np.nan
    return numbers


def parse_values(
    texts: list[str],
    missing: MissingPart,
    codes: frozenset[str],
    decimal: Literal[".", ","] = ".",
    thousands: str = "",
) -> ParsedValues:
    """Read the different texts of a value column.

    Parameters
    ----------
    texts : list of str
        Cells, stripped, each once.
    missing : MissingPart
        What stands for "no value".
    codes : frozenset of str
        Codes with a meaning (below detection, on the bottom), lower case.
    decimal, thousands : str
        Signs of the file.

    Returns
    -------
    ParsedValues
        One entry per text.

    Examples
    --------
    >>> found = parse_values(["<0.05", "1.2 m", "NA", "B", "2-3"], MissingPart(), frozenset({"b"}))
    >>> found.number.tolist(), found.sign.tolist()
    ([0.05, 1.2, nan, nan, nan], ['<', '', '', '', ''])
    >>> found.unit.tolist(), found.code.tolist(), found.missing.tolist(), found.reason[4]
    (['', 'm', '', '', ''], ['', '', '', 'b', ''], [False, False, True, False, False], 'not one number')
    """
    size = len(texts)
    number = parse_numbers(texts, decimal, thousands)
    out = ParsedValues(
        number=number,
        sign=np.full(size, "", dtype=object),
        unit=np.full(size, "", dtype=object),
        code=np.full(size, "", dtype=object),
        missing=is_missing(texts, missing) | np.isin(number, missing.numbers),
        reason=np.full(size, "", dtype=object),
    )
    number[out.missing] = np.nan
    for i in np.flatnonzero(np.isnan(number) & ~out.missing):
        text = texts[i].replace(thousands, "") if thousands else texts[i]
        _one(out, int(i), text, codes, decimal)
    return out


def _one(out: ParsedValues, i: int, text: str, codes: frozenset[str], decimal: Literal[".", ","]) -> None:
    """Read one text that is no plain number."""
    if text.casefold() in codes:
        out.code[i] = text.casefold()
        return
    sign = _SIGN.match(text)
    rest = sign.group(2) if sign else text
    trailing = _TRAILING.match(rest)
    if trailing and not sign:
        out.sign[i], rest = ">", trailing.group(1)
    try:
        value, behind = split_value_unit(rest, decimal=decimal)
    except UnitError:
        out.reason[i] = _why(text, rest, formula=bool(sign) and text.startswith("="))
        return
    if sign:
        if sign.group(1) not in _SIGNS:
            out.reason[i] = "an estimate, not a measurement"
            return
        out.sign[i] = _SIGNS[sign.group(1)]
    if not np.isfinite(value):
        out.reason[i] = "too large for a number"
        return
    if behind.casefold() in codes and behind:
        out.code[i], behind = behind.casefold(), ""
    if re.match(r"[\d+\-–*/.,;(]|to\b", behind):
        out.reason[i] = _why(text, rest, formula=text.startswith("="))
        out.sign[i] = ""
        return
    out.number[i], out.unit[i] = value, behind


def _why(text: str, rest: str, *, formula: bool) -> str:
    if formula:
        return "a formula without a stored value"
    if re.fullmatch(r"[\d.,' ]+", rest) and ("," in rest or "'" in rest):
        return "a comma that may be decimal or between thousands"
    return "not one number" if re.search(r"\d", text) else "not a number"
