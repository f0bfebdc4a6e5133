"""The sentences beside the numbers, and the cautions, in one place.

Every reading is one sentence that somebody without training understands. Where clarity is spoken of, the
caution goes with it.
"""

from __future__ import annotations

import math

CLARITY_CAUTION = (
    "Clarity says nothing about whether the water is safe to swim in or to drink: clear water can carry "
    "germs or "
    "toxins, and only the health authority's own tests can tell."
)
"""Goes with everything that speaks of clear or murky water."""

HABITAT_CAUTION = (
    "Habitat is where light and temperature suit the fish, worked out from readings; it does not count "
    "fish, and "
    "oxygen, food and fishing are not in it."
)
"""Goes with every habitat number."""

ONE_INPUT_NOTE = (
    "Each input gives an index of its own; they are shown side by side and never averaged, since where they "
    "disagree, the disagreement is the finding."
)
"""Goes wherever trophic indices from several inputs stand together."""

MEMORY_NOTE = (
    "These limits are quoted from memory of the source and have not been compared with the original."
)
"""Goes with every class table that nobody has held against its source yet."""

_INPUT_WORDS = {
    "secchi": "how deep the disc could be seen",
    "chlorophyll": "the green pigment of algae in the water",
    "total_phosphorus": "the phosphorus in the water",
    "total_nitrogen": "the nitrogen in the water",
}

_CLASS_WORDS = {
    "ultra-oligotrophic": "very poor in nutrients and very clear",
    "ultra-microtrophic": "almost without nutrients and very clear",
    "microtrophic": "very poor in nutrients and very clear",
    "oligotrophic": "poor in nutrients and clear",
    "mesotrophic": "moderately rich in nutrients",
    "eutrophic": "rich in nutrients, with plenty of algae",
    "supertrophic": "very rich in nutrients, often murky with algae",
    "hypereutrophic": "overloaded with nutrients, with heavy algal growth",
    "hypertrophic": "overloaded with nutrients, with heavy algal growth",
}


def class_words(name: str | None) -> str:
    """Say a class name in everyday words; empty for None.

    Examples
    --------
    >>> class_words("mesotrophic")
    'moderately rich in nutrients'
    """
    return _CLASS_WORDS.get(name or "", "")


def tsi_reading(value: float, variable: str, name: str | None, bound: str = "") -> str:
    """Say one trophic state index in a sentence.

    Parameters
    ----------
    value : float
        Index, [1].
    variable : str
        Parameter it comes from.
    name : str or None
        Class name.
    bound : {"", "at most", "at least"}
        Whether the value is a limit only.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> tsi_reading(45.2, "secchi", "mesotrophic")
    'Judged by how deep the disc could be seen, the water is moderately rich in nutrients (mesotrophic,
    index 45).'
    """
    source = _INPUT_WORDS.get(variable, variable)
    if not math.isfinite(value) or name is None:
        return f"Judged by {source}, there are too few readings to say how rich the water is."
    limit = f"{bound} " if bound else ""
    return f"Judged by {source}, the water is {class_words(name)} ({name}, index {limit}{value:.0f})."


def euphotic_reading(depth_m: float, bound: str = "") -> str:
    """Say the euphotic depth in a sentence.

    Parameters
    ----------
    depth_m : float
        Depth of 1 % of the surface light, [m].
    bound : {"", "at least"}
        ``at least`` when it comes from a disc seen on the bottom.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> euphotic_reading(5.418)
    'Plants and algae find enough light to grow down to about 5.4 m.'
    """
    if not math.isfinite(depth_m):
        return "There is no reading to say how deep the light reaches."
    return f"Plants and algae find enough light to grow down to {bound or 'about'} {depth_m:.1f} m."


def stability_reading(stability_j_m2: float) -> str:
    """Say Schmidt stability in a sentence.

    Parameters
    ----------
    stability_j_m2 : float
        Schmidt stability, [J/m2].

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> stability_reading(734.0)
    'It would take 734 joules for each square metre of lake surface to mix the water from top to bottom.'
    """
    if not math.isfinite(stability_j_m2):
        return "There is no profile to say how firmly the water is layered."
    if stability_j_m2 < 0.5:
        return "The water is mixed: the wind needs no more work to turn it over."
    return (
        f"It would take {stability_j_m2:.0f} joules for each square metre of lake surface to mix the water from top "
        "to bottom."
    )


def join_words(items: list[str]) -> str:
    """Join words with commas and a final "and".

    Examples
    --------
    >>> join_words(["a", "b", "c"])
    'a, b and c'
    """
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1] if items else ""
