"""Sentences that remember the values in them, so that they can be told again in other units."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

Kind = Literal["value", "change", "depth"]
"""A value of a parameter, a difference or slope of one, or a depth in metres."""

Parts = tuple[str | Mapping[str, Any], ...]
"""A sentence in pieces: text, or a value as ``kind``, ``parameter``, ``value`` and ``qualifier``."""


class Quantity(str):
    """A value as text that knows its number.

    Parameters
    ----------
    text : str
        As it is read.
    kind : {"value", "change", "depth"}
        What it is.
    parameter : str
        Of which parameter; empty for a depth.
    value : float
        In the canonical unit.
    qualifier : str
        ``<``, ``>`` or ``=``.
    """

    __slots__ = ("part",)
    part: Mapping[str, Any]

    def __new__(cls, text: str, kind: Kind, parameter: str, value: float, qualifier: str = "=") -> Quantity:
        """Make the text, and keep the number beside it."""
        made = super().__new__(cls, text)
        made.part = {"kind": kind, "parameter": parameter, "value": float(value), "qualifier": qualifier}
        return made


class Sentence(str):
    """A filled message that knows its ``parts``."""

    __slots__ = ("parts",)
    parts: Parts


def fill(template: str, fields: Mapping[str, Any]) -> Sentence:
    """Fill a template; values given as :class:`Quantity` are remembered.

    Parameters
    ----------
    template : str
        With fields in braces.
    fields : mapping
        Field -> text.

    Returns
    -------
    Sentence
        The text, with ``parts``.

    Examples
    --------
    >>> made = fill("{where}: {value}.", {"where": "A", "value": Quantity("1.5 m", "value", "secchi", 1.5)})
    >>> str(made), len(made.parts)
    ('A: 1.5 m.', 3)
    """
    parts: list[str | Mapping[str, Any]] = []
    text = ""
    for literal, name, spec, conversion in string.Formatter().parse(template):
        text += literal
        if name is None:
            continue
        found = fields[name]
        if isinstance(found, Quantity) and not spec and not conversion:
            parts += [text, found.part] if text else [found.part]
            text = ""
        else:
            text += ("{0" + (f"!{conversion}" if conversion else "") + f":{spec}}}").format(found)
    parts += [text] if text else []
    made = Sentence(template.format(**fields))
    made.parts = tuple(parts)
    return made


def retell(parts: Sequence[str | Mapping[str, Any]], show: Callable[[Mapping[str, Any]], str]) -> str:
    """Put a sentence together again.

    Parameters
    ----------
    parts : sequence
        Of a :class:`Sentence`.
    show : callable
        Writes one value.

    Returns
    -------
    str
        The sentence.

    Examples
    --------
    >>> retell(["It is ", {"kind": "value", "value": 1.0}, "."], lambda part: f"{part['value']} m")
    'It is 1.0 m.'
    """
    return "".join(part if isinstance(part, str) else show(part) for part in parts)
