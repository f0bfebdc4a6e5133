"""Gears and units of effort: one spelling for each, and which units may stand beside which gear."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from fathomlight.errors import UnitError


@dataclass(frozen=True, slots=True)
class Gear:
    """A way of fishing.

    ``units`` are the canonical effort units that make sense for it (common practice, no single source);
    ``aliases`` other spellings; ``cautions`` the key into :data:`fathomlight.fish.CAUTIONS`.
    """

    name: str
    units: tuple[str, ...]
    aliases: tuple[str, ...]
    cautions: str


_ALL = (
    Gear("gill net", ("net-night", "net-hour", "m2-night"), ("gillnet", "experimental gill net"), "netting"),
    Gear("micromesh gill net", ("net-night", "net-hour"), ("micromesh",), "netting"),
    Gear("trap net", ("net-night", "net-hour"), ("trapnet",), "netting"),
    Gear("fyke net", ("net-night", "net-hour"), ("fyke", "fykenet", "hoop net"), "netting"),
    Gear("seine", ("haul", "m2"), ("beach seine", "bag seine"), "netting"),
    Gear("trawl", ("hour", "m2", "haul"), ("bottom trawl",), "netting"),
    Gear("boat electrofishing", ("hour", "km"), ("electrofishing boat", "efb", "shocking"), "electrofishing"),
    Gear("backpack electrofishing", ("hour", "m2", "km", "pass"), ("efbp", "backpack"), "electrofishing"),
    Gear("angling", ("angler-hour", "angler-day"), ("creel", "rod and line"), "handling"),
    Gear("ice angling", ("angler-hour", "angler-day"), ("ice fishing",), "ice"),
)

GEARS: Mapping[str, Gear] = MappingProxyType({gear.name: gear for gear in _ALL})
"""Known gears by name. An unknown gear is allowed: it stands for itself and is never pooled with another."""

_UNITS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {
        **dict.fromkeys(
            ("net-night", "net night", "net nights", "net-nights", "nn", "lift", "lifts"), ("net-night", 1.0)
        ),
        **dict.fromkeys(("net-hour", "net hour", "net hours", "net-hours"), ("net-hour", 1.0)),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "pedal hour", "pedal hours"), ("hour", 1.0)),
        **dict.fromkeys(("min", "mins", "minute", "minutes"), ("hour", 1 / 60)),
        **dict.fromkeys(("s", "sec", "second", "seconds"), ("hour", 1 / 3600)),
        **dict.fromkeys(("km", "kilometre", "kilometres", "kilometer", "kilometers"), ("km", 1.0)),
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), ("km", 0.001)),
        **dict.fromkeys(("mi", "mile", "miles"), ("km", 1.609344)),
        **dict.fromkeys(("m2", "m^2", "sq m", "square metre", "square metres", "square meters"), ("m2", 1.0)),
        **dict.fromkeys(("100 m2", "100m2"), ("m2", 100.0)),
        **dict.fromkeys(("ha", "hectare", "hectares"), ("m2", 1e4)),
        **dict.fromkeys(("ft2", "sq ft", "square feet"), ("m2", 0.09290304)),
        **dict.fromkeys(("m2-night", "m2 night", "m2 nights"), ("m2-night", 1.0)),
        **dict.fromkeys(("haul", "hauls", "set", "sets"), ("haul", 1.0)),
        **dict.fromkeys(("pass", "passes"), ("pass", 1.0)),
        **dict.fromkeys(("angler-hour", "angler hour", "angler hours", "angler-hours"), ("angler-hour", 1.0)),
        **dict.fromkeys(("angler-day", "angler day", "angler days", "visit", "visits"), ("angler-day", 1.0)),
    }
)

EFFORT_UNITS = tuple(dict.fromkeys(unit for unit, _ in _UNITS.values()))
"""Canonical units of effort."""


def _plain(text: str) -> str:
    return re.sub(r"[\s_]+", " ", str(text)).strip().lower().replace("²", "2")


_NAMES = {alias: gear.name for gear in _ALL for alias in (gear.name, *gear.aliases)}


def gear_key(text: str) -> str:
    """Return one spelling for a gear; an unknown gear keeps its own name in lower case.

    Examples
    --------
    >>> gear_key("Beach  Seine"), gear_key("drop net")
    ('seine', 'drop net')
    """
    plain = _plain(text)
    return _NAMES.get(plain, plain)


def effort_unit(text: str) -> tuple[str, float]:
    """Return the canonical unit of effort and the factor that leads to it.

    Parameters
    ----------
    text : str
        The unit as written, e.g. ``min`` or ``miles``.

    Returns
    -------
    tuple of (str, float)
        Canonical unit, and the number of canonical units in one of the given.

    Raises
    ------
    UnitError
        The text is not a known unit of effort.

    Examples
    --------
    >>> effort_unit("miles")
    ('km', 1.609344)
    """
    found = _UNITS.get(_plain(text))
    if found is None:
        raise UnitError(
            "this is not a known unit of fishing effort",
            got=text,
            expected="one of " + ", ".join(EFFORT_UNITS) + ", or a usual multiple such as min or miles",
            fix="Correct the unit in the file, or name it in the recipe.",
        )
    return found
