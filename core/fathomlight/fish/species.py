"""Species: names, length categories and standard-weight equations, each with its source."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from fathomlight.errors import NotFoundError

CATEGORIES = ("stock", "quality", "preferred", "memorable", "trophy")
"""Names of the five length categories, shortest first (Gabelhouse 1984)."""

_GABELHOUSE = (
    "Gabelhouse, D.W. 1984. A length-categorization system to assess fish stocks. "
    "North American Journal of Fisheries Management 4:273-285"
)
_TABULATED = (
    "Neumann, R.M., C.S. Guy & D.W. Willis. 2012. Length, weight, and associated indices. "
    "Chapter 14 in Fisheries Techniques, 3rd edition, American Fisheries Society"
)


@dataclass(frozen=True, slots=True)
class StandardWeight:
    """A standard-weight equation log10 Ws [g] = intercept + slope * log10 TL [mm].

    ``minimum_mm`` and ``maximum_mm`` [mm] bound the total lengths the equation was made for
    (``maximum_mm`` is infinite where the source gives none).
    """

    intercept: float
    slope: float
    minimum_mm: float
    source: str
    maximum_mm: float = float("inf")


@dataclass(frozen=True, slots=True)
class Species:
    """A species with what is needed to read its lengths and weights.

    Attributes
    ----------
    name : str
        Common name, lower case; the key used throughout.
    scientific : str
        Scientific name.
    limits_mm : tuple of float
        Lower limits of stock, quality, preferred, memorable and trophy length, total length [mm].
    limits_source : str
        Where the limits come from.
    standard_weights : mapping of str to StandardWeight
        ``"adult"`` and, where published, ``"juvenile"``.
    aliases : tuple of str
        Other spellings and codes seen in field files.
    """

    name: str
    scientific: str
    limits_mm: tuple[float, float, float, float, float]
    limits_source: str
    standard_weights: Mapping[str, StandardWeight]
    aliases: tuple[str, ...] = ()


def _species(
    name: str,
    scientific: str,
    limits_cm: tuple[float, float, float, float, float],
    weights: dict[str, StandardWeight],
    aliases: tuple[str, ...] = (),
    source: str = _GABELHOUSE,
) -> Species:
    a, b, c, d, e = (10.0 * value for value in limits_cm)
    return Species(name, scientific, (a, b, c, d, e), source, MappingProxyType(weights), aliases)


_WALLEYE = {
    "adult": StandardWeight(
        -5.453,
        3.180,
        150.0,
        "Murphy, B.R., M.L. Brown & T.A. Springer. 1990. Evaluation of the relative weight (Wr) index, with "
        "new "
        "applications to walleye. North American Journal of Fisheries Management 10:85-97",
    ),
    "juvenile": StandardWeight(
        -4.804,
        2.869,
        30.0,
        "Flammang and others. 1999. Standard-weight equation for walleye of 30 to 149 mm. "
        "North American Journal of Fisheries Management",
        maximum_mm=150.0,
    ),
}


def _adult(intercept: float, slope: float, minimum_mm: float) -> dict[str, StandardWeight]:
    return {"adult": StandardWeight(intercept, slope, minimum_mm, _TABULATED)}


_ALL = (
    _species("walleye", "Sander vitreus", (25, 38, 51, 63, 76), _WALLEYE, ("wae", "stizostedion vitreum")),
    _species("sauger", "Sander canadensis", (20, 30, 38, 51, 63), {}, ("stizostedion canadense",)),
    _species("northern pike", "Esox lucius", (35, 53, 71, 86, 112), _adult(-5.437, 3.096, 100.0), ("pike",)),
    _species(
        "muskellunge",
        "Esox masquinongy",
        (51, 76, 97, 107, 127),
        _adult(-6.066, 3.325, 380.0),
        ("musky", "muskie"),
    ),
    _species(
        "largemouth bass",
        "Micropterus salmoides",
        (20, 30, 38, 51, 63),
        _adult(-5.528, 3.273, 150.0),
        ("micropterus nigricans",),
    ),
    _species("smallmouth bass", "Micropterus dolomieu", (18, 28, 35, 43, 51), _adult(-5.329, 3.200, 150.0)),
    _species("yellow perch", "Perca flavescens", (13, 20, 25, 30, 38), _adult(-5.386, 3.230, 100.0)),
    _species(
        "lake trout",
        "Salvelinus namaycush",
        (30, 50, 65, 80, 100),
        _adult(-5.681, 3.246, 280.0),
        source=_TABULATED,
    ),
)

SPECIES: Mapping[str, Species] = MappingProxyType({item.name: item for item in _ALL})
"""Species by common name. Length limits are the metric ones; they are not exact conversions of the inch
limits."""


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-]+", " ", str(text)).strip().lower()


_NAMES = {_plain(name): item for item in _ALL for name in (item.name, item.scientific, *item.aliases) if name}


def find_species(name: str | Species) -> Species:
    """Find a species by common name, scientific name or alias; case and spacing do not matter.

    Parameters
    ----------
    name : str or Species
        What the file or the user calls it; a :class:`Species` is given back as it is.

    Returns
    -------
    Species
        The species.

    Raises
    ------
    NotFoundError
        The name is not in :data:`SPECIES`.

    Examples
    --------
    >>> find_species("Sander vitreus").name
    'walleye'
    >>> find_species(" Yellow  Perch ").limits_mm[0]
    130.0
    """
    if isinstance(name, Species):
        return name
    found = _NAMES.get(_plain(name))
    if found is None:
        raise NotFoundError(
            "this species has no length categories or standard weight here",
            got=name,
            expected="one of " + ", ".join(SPECIES),
            fix="Check the spelling, or hand over a Species with its own limits and equation.",
        )
    return found


def species_key(name: str) -> str:
    """Return one spelling for a species, known or not, so that tables of catches can be joined.

    Parameters
    ----------
    name : str
        Common or scientific name as written.

    Returns
    -------
    str
        The common name in lower case when known, else the text in lower case with single blanks.

    Examples
    --------
    >>> species_key("SANDER  VITREUS"), species_key("White_Sucker")
    ('walleye', 'white sucker')
    """
    plain = _plain(name)
    known = _NAMES.get(plain)
    return known.name if known else plain
