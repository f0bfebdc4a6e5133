"""Reading units, and numbers with units, as people write them."""

from __future__ import annotations

import functools
import re
import unicodedata
from dataclasses import replace
from typing import Literal

from fathomlight.errors import UnitError
from fathomlight.units.known import BY_SPELLING, UNITS, Unit

_DEGREE = "\N{DEGREE SIGN}"
_DAMAGED: tuple[tuple[str, str], ...] = (
    # UTF-8 read as Windows-1252 or Latin-1 (once or twice); the longer spelling first
    ("Ã‚Â°", _DEGREE), ("Ã‚Âº", _DEGREE), ("Ã‚Âµ", "u"), ("Ã‚Â²", "2"), ("Ã‚Â³", "3"),
    ("Â°", _DEGREE), ("Âº", _DEGREE), ("Ëš", _DEGREE), ("Ë\x9a", _DEGREE), ("Âµ", "u"), ("Î¼", "u"),
    ("Â²", "2"), ("Â³", "3"), ("Â", ""), ("ï¿½", "\ufffd"),
    # look-alikes of the degree sign
    ("º", _DEGREE), ("\u02da", _DEGREE), ("\u2218", _DEGREE), ("\u1d52", _DEGREE), ("\u20dd", _DEGREE),
    ("℃", _DEGREE + "C"), ("℉", _DEGREE + "F"),
    # quotes and signs
    ("\u2032", "'"), ("\u2019", "'"), ("\u2033", '"'), ("\u201d", '"'), ("\u2212", "-"), ("⁻", "-"),
    ("\u2044", "/"),
)  # fmt: skip

_ELEMENT = r"(no3|nh4|po4|caco3|n|p|c)"
_BASIS = (
    re.compile(rf"\bas\s*{_ELEMENT}$"),
    re.compile(rf"(?<=/l)[\s_-]*{_ELEMENT}$"),
    re.compile(r"(?<=[mu]g)[\s_-]*(n|p)(?=/)"),
)
_REFERENCE = re.compile(r"\s*(?:@|\bat\b)\s*([\d.]+)\s*(?:deg(?:rees?)?\s*)?c?$|\s+([\d.]+)\s*degc$")


def _tidy(text: str) -> str:
    """Undo damage, then reduce a unit text to lower case with ``/`` for every "per"."""
    for bad, good in _DAMAGED:
        text = text.replace(bad, good)
    text = re.sub(
        r"[\ufffd?](?=\s*[CcFf]\b)", _DEGREE, text
    )  # a lost character before C or F was a degree sign
    text = re.sub(
        r"[\ufffd?](?=(?:[gG]|[sS]/|mol|mho|E/|M/))", "u", text
    )  # and before these it was a micro sign
    text = unicodedata.normalize("NFKC", text).replace("\u03bc", "u").replace("\xb5", "u")
    text = text.strip().strip("[](){}").strip().lower()
    text = re.sub(rf"{_DEGREE}\s*", "deg", text)
    text = re.sub(r"^o\s*(?=[cf]$)", "deg", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(?:lit(?:re|er)s?)\b", "l", text)
    text = re.sub(r"[\s·*.]*\b(l|cm|m|s)\s*\^?\s*-\s*([123])(?!\d)", _negative_power, text)
    return re.sub(r"\s*/\s*", "/", text).replace("^", "")


def _negative_power(found: re.Match[str]) -> str:
    name, power = found.groups()
    return f"/{name}" if power == "1" else f"/{name}{power}"


def _take_basis(text: str) -> tuple[str, str]:
    """Split ``mg/l as n`` into ``mg/l`` and ``N``, ``us/cm@25degc`` into ``us/cm`` and ``25 degC``."""
    if "/cm" in text or "/m" in text:
        found = _REFERENCE.search(text)
        if found:
            number = float(found.group(1) or found.group(2))
            return text[: found.start()], f"{number:g} degC"
    for pattern in _BASIS:
        found = pattern.search(text)
        if found:
            return text[: found.start()] + text[found.end() :], found.group(1).upper()
    return text, ""


@functools.lru_cache(maxsize=4096)
def parse_unit(text: str) -> Unit:
    """Read a unit as people write it.

    Case, blanks, brackets, degree and micro signs (also damaged ones), ``per``, negative powers and American
    or British spelling do not matter.

    Parameters
    ----------
    text : str
        E.g. ``"Feet"``, ``"µg/L"``, ``"° C"``, ``"mg/L as N"``, ``"uS/cm@25 degC"``, ``"umol m-2 s-1"``.

    Returns
    -------
    Unit
        The unit, with its ``basis`` when the text names one.

    Raises
    ------
    UnitError
        The text is empty or names no unit known here.

    Examples
    --------
    >>> parse_unit("Meters").symbol, parse_unit("Âµg/L").symbol, parse_unit("deg. F").symbol
    ('m', 'ug/L', 'degF')
    >>> parse_unit("mg/L as N").basis
    'N'
    """
    if not isinstance(text, str) or not text.strip():
        raise UnitError("no unit given", expected="a unit such as m, ft, degC, NTU or ug/L")
    rest, basis = _take_basis(_tidy(text))
    key = re.sub(r"\s+", "", rest).strip("_-,;:")
    unit = BY_SPELLING.get(key) or BY_SPELLING.get(key.replace(".", ""))
    if unit is None:
        raise UnitError(
            "unknown unit",
            got=text,
            expected="one of " + ", ".join(UNITS),
            fix="Correct the unit in the file, or name the unit of that column in the recipe",
        )
    return replace(unit, basis=basis) if basis else unit


_NUMBER = re.compile(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
_FEET_INCHES = re.compile(
    r"^\s*(\d+)\s*(?:'|ft\.?|feet|foot)\s*(\d+(?:\.\d+)?)\s*(?:\"|''|in\.?|inches|inch)?\s*$", re.I
)


def split_value_unit(text: str, *, decimal: Literal[".", ","] = ".") -> tuple[float, str]:
    r"""Split a number from the unit written behind it.

    Parameters
    ----------
    text : str
        E.g. ``"12.5 ft"``, ``"1m"``, ``"20.5°C"``, ``"5' 6\""`` (feet and inches) or a bare number.
    decimal : {".", ","}
        Decimal sign of the file.

    Returns
    -------
    value : float
        The number.
    unit : str
        What stands behind it, unparsed; empty when nothing does.

    Raises
    ------
    UnitError
        The text does not begin with a number. Qualifiers (``<``, ``>``) must be taken off before.

    Examples
    --------
    >>> split_value_unit("12.5 ft"), split_value_unit("1m"), split_value_unit("7")
    ((12.5, 'ft'), (1.0, 'm'), (7.0, ''))
    """
    tidy = text
    for bad, good in (("\u2212", "-"), ("\u2032", "'"), ("\u2019", "'"), ("\u2033", '"'), ("\u201d", '"')):
        tidy = tidy.replace(bad, good)
    if decimal == ",":
        tidy = re.sub(r"(?<=\d),(?=\d)", ".", tidy, count=1)
    both = _FEET_INCHES.match(tidy)
    if both:
        return float(both.group(1)) + float(both.group(2)) / 12.0, "ft"
    found = _NUMBER.match(tidy)
    if not found or found.group(2)[:1] in {",", "."}:
        raise UnitError(
            "not a number with a unit",
            got=text,
            expected='text such as "12.5 ft"' + (" with a decimal comma" if decimal == "," else ""),
        )
    return float(found.group(1)), found.group(2)
