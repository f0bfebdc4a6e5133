"""Cautions to show beside each gear. They remind; they do not train, and they give no one leave to fish."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fathomlight.fish.gears import GEARS, gear_key

_EVERYWHERE = (
    "Sampling fish needs permission: follow the permits, licences, local codes and animal-care rules "
    "that apply where you work.",
)

CAUTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "electrofishing": (
            "Electric fishing can kill people and animals. Only a trained, licensed crew may do it, never "
            "one person "
            "alone, with tested equipment, insulated waders and gloves, and a way to cut the current at "
            "once.",
            "Keep bystanders, dogs and livestock well away from the water; stop in rain, lightning or fast "
            "water.",
            "Current can injure fish: the crew's own protocol sets the output for the conductivity and the "
            "species. "
            "Have someone trained in resuscitation present.",
            *_EVERYWHERE,
        ),
        "netting": (
            "Nets and lines pull people overboard: wear a life jacket, keep a knife within reach, work in "
            "pairs, and "
            "let a competent skipper judge wind, waves and cold water.",
            "Mark nets so that boats see them, check them within the time the permit allows, and expect fish "
            "and "
            "other animals in gill nets to die.",
            *_EVERYWHERE,
        ),
        "ice": (
            "No ice is safe because a number says so: thickness changes within metres, near inflows, and by "
            "the hour. "
            "Follow the local authority's advice, check as you go, carry picks and rope, and never go alone.",
            *_EVERYWHERE,
        ),
        "handling": (
            "Wet your hands, keep fish in cool, aerated water, measure quickly, and return them where they "
            "were caught "
            "unless the protocol says otherwise.",
            "Anaesthetics, spines, scales and otoliths need trained hands and, often, approval; treated fish "
            "may not "
            "be fit to eat for a time set by law.",
            "Clean, drain and dry gear and boats between waters, so as not to carry species or disease "
            "along.",
            *_EVERYWHERE,
        ),
    }
)
"""Cautions by kind of work: electrofishing, netting, ice, handling."""


def cautions(gear: str) -> tuple[str, ...]:
    """Return the cautions to show beside results of a gear: those of the gear, then those of handling fish.

    Parameters
    ----------
    gear : str
        Gear as written; an unknown gear gets the cautions of handling fish.

    Returns
    -------
    tuple of str
        Sentences, without repeats.

    Examples
    --------
    >>> cautions("beach seine")[0].startswith("Nets and lines")
    True
    """
    known = GEARS.get(gear_key(gear))
    own = CAUTIONS[known.cautions] if known else ()
    return tuple(dict.fromkeys((*(text for text in own if text not in _EVERYWHERE), *CAUTIONS["handling"])))
