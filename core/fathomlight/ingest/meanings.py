"""What a person says a column is, instead of what was guessed; and what contradicts itself then."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fathomlight.errors import ArgumentError, UnitError
from fathomlight.ingest.cells import header_unit
from fathomlight.ingest.guess import ColumnGuess, date_formats, value_unit
from fathomlight.ingest.recipe import plain_name
from fathomlight.model import Parameter
from fathomlight.units import convert

__all__ = ["ATTACHED", "ROLE_WORDS", "ColumnMeaning", "contradictions", "meant", "parse_meaning"]

ROLE_WORDS: Mapping[str, str] = {
    "station": "station",
    "date": "date",
    "time": "clock time",
    "zone": "time zone",
    "depth": "depth",
    "value": "measured value",
    "parameter": "name of the parameter",
    "unit": "unit",
    "qualifier": "qualifier",
    "bottom": "whether the disc was on the bottom",
    "limit": "detection limit",
    "replicate": "replicate",
    "method": "method",
    "not imported": "comment or observer: not stored",
    "unknown": "ignored",
}
"""What a column can be, and the words for it."""

ATTACHED = ("unit", "qualifier", "bottom", "limit", "replicate", "method")
"""Roles that say something about the values of another column."""

_SINGLE = ("station", "date", "time", "zone", "depth", "parameter")
_SHORT: Mapping[str, str] = {"comment": "not imported", "ignored": "unknown", "ignore": "unknown"}


@dataclass(frozen=True, slots=True)
class ColumnMeaning:
    """What a person says a column is.

    Attributes
    ----------
    role : str
        A key of :data:`ROLE_WORDS`.
    parameter : str
        Of a value: what it measures; empty when another column says so.
    unit : str
        Of a value or depth; goes before what the file says. Empty: as the file says, else asked.
    format : str
        Of a date: ``iso`` or a strftime pattern; found out when empty.
    zone : str
        Of a date or clock time: ``station``, ``UTC`` or an IANA name; asked when empty.
    of : str
        For :data:`ATTACHED` roles: the column of values it belongs to; may be empty when there is one only.
    """

    role: str
    parameter: str = ""
    unit: str = ""
    format: str = ""
    zone: str = ""
    of: str = ""


def parse_meaning(text: str, parameters: Mapping[str, Parameter]) -> ColumnMeaning:
    """Read a meaning from words, as the command line takes them.

    Parameters
    ----------
    text : str
        ``station``, ``date``, ``date %d/%m/%Y``, ``time UTC``, ``depth ft``, ``secchi ft`` (a parameter and
        its unit), ``value``, ``parameter``, ``unit``, ``qualifier of TP``, ``bottom``, ``limit``,
        ``replicate``, ``method``, ``zone``, ``comment`` or ``ignored``.
    parameters : mapping of str to Parameter
        What may be measured.

    Returns
    -------
    ColumnMeaning
        Its parts.

    Raises
    ------
    ArgumentError
        The first word is no role and no parameter.

    Examples
    --------
    >>> parse_meaning("date %d/%m/%Y", {}).format, parse_meaning("qualifier of TP", {}).of
    ('%d/%m/%Y', 'TP')
    """
    first, _, rest = text.strip().partition(" ")
    rest = rest.strip()
    role = _SHORT.get(first.casefold(), first.casefold())
    if role in ATTACHED:
        return ColumnMeaning(role, of=re.sub(r"^of\s+", "", rest))
    if role == "depth":
        return ColumnMeaning(role, unit=rest)
    if role in ("date", "time"):
        pattern = "%" in rest or rest == "iso"
        return ColumnMeaning(role, format=rest if pattern else "", zone="" if pattern else rest)
    if role in ROLE_WORDS and not rest:
        return ColumnMeaning(role)
    if first in parameters:
        return ColumnMeaning("value", parameter=first, unit=rest)
    words = [*(w for w in ROLE_WORDS if w not in _SHORT.values()), "comment", "ignored"]
    raise ArgumentError(
        "columns", "not a meaning of a column", got=text,
        expected=f"one of {', '.join(words)}, or a parameter and its unit such as secchi ft; "
        f"parameters: {', '.join(parameters)}",
    )  # fmt: skip


def meant(
    guess: ColumnGuess,
    meaning: ColumnMeaning,
    label: str,
    texts: Sequence[str],
    parameters: Mapping[str, Parameter],
    known_share: float,
    now: np.datetime64,
    decimal: str = ".",
) -> ColumnGuess:
    """Return a column as a person says it is.

    Parameters
    ----------
    guess : ColumnGuess
        What it was taken for.
    meaning : ColumnMeaning
        What it is.
    label : str
        Text of the unit row.
    texts : sequence of str
        First values.
    parameters : mapping of str to Parameter
        What may be measured.
    known_share : float
        Share of its texts that are known stations.
    now : numpy.datetime64
        The present.
    decimal : str
        Decimal sign of the file.

    Returns
    -------
    ColumnGuess
        ``stated``; a unit the person gives goes before the one of the file.

    Raises
    ------
    ArgumentError
        No such role or parameter.
    """
    if meaning.role not in ROLE_WORDS:
        raise ArgumentError("columns", "no such role", got=meaning.role, expected=", ".join(ROLE_WORDS))
    if meaning.parameter and meaning.parameter not in parameters:
        raise ArgumentError(
            "columns", "no such parameter", got=meaning.parameter, expected=", ".join(parameters)
        )
    same = guess.role == meaning.role and guess.parameter == meaning.parameter
    out = (
        guess
        if same
        else ColumnGuess(
            header=guess.header, role=meaning.role, parameter=meaning.parameter, sample=guess.sample
        )
    )
    out = replace(out, stated=True, confidence=1.0, of=meaning.of, zone=meaning.zone)
    if meaning.role == "station":
        return replace(out, confidence=1.0 if known_share == 1.0 else 0.8)
    if meaning.role == "date":
        kinds = [t for t in dict.fromkeys(texts) if t]
        formats = (meaning.format,) if meaning.format else guess.formats or date_formats(kinds, now)
        return replace(out, formats=formats)
    if meaning.role == "value" and meaning.parameter:
        shown, known = value_unit(guess.header, label, texts, parameters[meaning.parameter], decimal)
        return _with_unit(out, shown, known, meaning.unit)
    if meaning.role == "depth":
        unit = label or header_unit(guess.header)
        return _with_unit(out, unit or "m", bool(unit), meaning.unit)
    return out


def _with_unit(guess: ColumnGuess, shown: str, known: bool, said: str) -> ColumnGuess:
    if not said:
        return replace(guess, unit=shown, unit_known=known)
    return replace(guess, unit=said, unit_known=True, unit_stated=True, unit_in_file=shown if known else "")


def contradictions(guesses: Sequence[ColumnGuess], parameters: Mapping[str, Parameter]) -> list[str]:
    """Say what keeps the columns from becoming readings, each with the way out.

    Parameters
    ----------
    guesses : sequence of ColumnGuess
        Every column.
    parameters : mapping of str to Parameter
        What may be measured.

    Returns
    -------
    list of str
        One sentence or two for each; empty when a recipe can be made.
    """
    out = []
    for role in _SINGLE:
        names = [f"“{g.header}”" for g in guesses if g.role == role]
        if len(names) > 1:
            out.append(
                f"{_listed(names)} are {'both' if len(names) == 2 else 'all'} the {ROLE_WORDS[role]}. "
                f"Keep one of them, and set {'the other' if len(names) == 2 else 'the others'} to ignored."
            )
    dates = [g for g in guesses if g.role == "date"]
    if not dates:
        out.append("No column is the date. Set the column that holds it to date.")
    for guess in dates:
        if not guess.formats:
            first = f", such as “{guess.sample[0]}”," if guess.sample else ""
            out.append(
                f"The texts of “{guess.header}”{first} cannot be read as dates. "
                f"Set another column to date, or write the dates as 2025-07-24."
            )
    return out + _of_values(guesses) + _of_units(guesses, parameters)


def _of_values(guesses: Sequence[ColumnGuess]) -> list[str]:
    wide = [g for g in guesses if g.role == "value" and g.parameter]
    long = [g for g in guesses if g.role == "value" and not g.parameter]
    named = [g for g in guesses if g.role == "parameter"]
    out = []
    if not wide and not long:
        out.append(
            "No column is a measured value. Set the column of readings to what it measures, "
            "such as the disc depth."
        )
    if len(long) > 1:
        out.append(
            f"{_listed([f'“{g.header}”' for g in long])} are all measured values that another column names. "
            f"Keep one of them, and set the others to what they measure, or to ignored."
        )
    if long and not named and any(g.stated for g in long):
        out.append(
            f"Nothing says what “{long[0].header}” measures. Set it to what it measures, or set the column "
            f"that names it to name of the parameter."
        )
    elif long and not named and not wide:
        out.append(f"Nothing says what “{long[0].header}” measures. Set it to what it measures.")
    if named and not long and (named[0].stated or not wide):
        out.append(
            f"“{named[0].header}” names parameters, but no column holds their values. "
            f"Set that column to measured value, or “{named[0].header}” to ignored."
        )
    both = [g for g in wide if g.stated]
    if long and named and both:
        out.append(
            f"“{both[0].header}” is {both[0].parameter} by itself, while “{named[0].header}” names what "
            f"“{long[0].header}” measures. A file is read in one of the two ways: set “{both[0].header}”, "
            f"or the other two, to ignored."
        )
    values = {g.header for g in (*wide, *long)}
    out += [
        f"“{g.header}” is said to belong to “{g.of}”, which is not a measured value. Choose another column."
        for g in guesses
        if g.role in ATTACHED and g.of and g.of not in values
    ]
    return out


def _of_units(guesses: Sequence[ColumnGuess], parameters: Mapping[str, Parameter]) -> list[str]:
    out = []
    for guess in guesses:
        if not guess.unit_stated:
            continue
        parameter = parameters.get(guess.parameter)
        canonical, label = (parameter.unit, parameter.label) if parameter else ("m", "depth")
        try:
            convert(1.0, guess.unit, canonical)
        except UnitError:
            out.append(
                f"“{guess.header}” is {label}, which cannot be in {guess.unit}. "
                f"Choose a unit that can be turned into {canonical}."
            )
    return out


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


def by_header(columns: Mapping[str, ColumnMeaning], header: Sequence[str]) -> dict[str, ColumnMeaning]:
    """Return meanings under the exact names of the columns.

    Parameters
    ----------
    columns : mapping of str to ColumnMeaning
        Column name, in any spelling that differs in blanks and case only -> meaning.
    header : sequence of str
        Column names of the file.

    Returns
    -------
    dict of str to ColumnMeaning
        In the order given.

    Raises
    ------
    ArgumentError
        The file has no such column.
    """
    plain = {plain_name(h): h for h in reversed(header)}
    out = {}
    for name, meaning in columns.items():
        found = name if name in header else plain.get(plain_name(name))
        if found is None:
            raise ArgumentError(
                "columns", "the file has no such column", got=name,
                expected=f"one of {', '.join(h for h in header if h)}",
            )  # fmt: skip
        of = meaning.of if meaning.of in header else plain.get(plain_name(meaning.of), meaning.of)
        out[found] = replace(meaning, of=of)
    return out
