"""Find the station a text means, or say why none."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fathomlight.ingest.recipe import plain_name
from fathomlight.model import Station, Water

__all__ = ["Names", "station_names", "water_names"]


def _without_zeros(text: str) -> str:
    """Reduce ``0070``, ``070`` and ``70.0`` to ``70``; other texts to themselves."""
    found = re.fullmatch(r"0*(\d+)(?:\.0+)?", text)
    return found.group(1) if found else text


@dataclass
class Names:
    """Texts and the ids they may mean.

    Attributes
    ----------
    exact, plain, numeric : dict of str to set of str
        Text as it stands, in plain form, and with leading zeros taken off -> ids.
    noun : str
        ``station`` or ``water``, for messages.
    """

    noun: str
    exact: dict[str, set[str]] = field(default_factory=dict)
    plain: dict[str, set[str]] = field(default_factory=dict)
    numeric: dict[str, set[str]] = field(default_factory=dict)
    _known: dict[str, tuple[str, str, str]] = field(default_factory=dict)

    def put(self, text: str, identity: str) -> None:
        """Let a text mean an id."""
        self.exact.setdefault(text, set()).add(identity)
        self.plain.setdefault(plain_name(text), set()).add(identity)
        self.numeric.setdefault(_without_zeros(text.strip().casefold()), set()).add(identity)

    def override(self, text: str, identity: str) -> None:
        """Let a text mean this id only, whatever else bears the name."""
        self.exact[text] = {identity}
        self.plain[plain_name(text)] = {identity}

    def look_up(self, text: str) -> tuple[str, str, str]:
        """Return id, reason and remedy; the id is empty when there is a reason."""
        if text not in self._known:
            self._known[text] = self._find(text)
        return self._known[text]

    def _find(self, text: str) -> tuple[str, str, str]:
        if not text:
            return "", f"no {self.noun} given", f"Fill in the {self.noun}."
        for table, key in (
            (self.exact, text),
            (self.plain, plain_name(text)),
            (self.numeric, _without_zeros(text.strip().casefold())),
        ):
            found = table.get(key, set())
            if len(found) == 1:
                return next(iter(found)), "", ""
            if found:
                ids = ", ".join(sorted(found))
                return (
                    "",
                    f"{len(found)} {self.noun}s go by this name: {ids}",
                    "Write the id, or add the text to the recipe's aliases.",
                )
        near = difflib.get_close_matches(plain_name(text), self.plain, n=3, cutoff=0.75)
        alike = list(dict.fromkeys(identity for name in near for identity in sorted(self.plain[name])))[:3]
        hint = f"Did you mean {' or '.join(alike)}? " if alike else ""
        where = "the stations" if self.noun == "station" else "the waters"
        return "", f"unknown {self.noun}", f"{hint}Correct it, add it to {where}, or to the recipe's aliases."


def station_names(stations: Sequence[Station], aliases: Mapping[str, str]) -> Names:
    """Collect what stations are called.

    Parameters
    ----------
    stations : sequence of Station
        Ids win over names and aliases of other stations.
    aliases : mapping of str to str
        The recipe's own: text -> station id; these win over all.

    Returns
    -------
    Names
        For looking up texts.

    Examples
    --------
    >>> names = station_names([Station("W-070", "Still Bay", "W", 0.0, 0.0, aliases=("70",))], {})
    >>> names.look_up("0070")[0], names.look_up("STILL  BAY")[0], names.look_up("Stil Bay")[2][:20]
    ('W-070', 'W-070', 'Did you mean W-070? ')
    """
    names = Names("station")
    for station in stations:
        for text in (station.id, station.name, *station.aliases):
            names.put(text, station.id)
    for station in stations:
        names.override(station.id, station.id)
    for text, identity in aliases.items():
        names.override(text, identity)
    return names


def water_names(stations: Sequence[Station], waters: Sequence[Water], aliases: Mapping[str, str]) -> Names:
    """Collect what waters are called.

    Parameters
    ----------
    stations : sequence of Station
        Their waters are known by id.
    waters : sequence of Water
        Known by id and name.
    aliases : mapping of str to str
        The recipe's own: text -> water id.

    Returns
    -------
    Names
        For looking up texts.
    """
    names = Names("water")
    for identity in {s.water for s in stations} | {w.id for w in waters}:
        names.put(identity, identity)
    for water in waters:
        names.put(water.name, water.id)
    for text, identity in aliases.items():
        names.override(text, identity)
    return names
