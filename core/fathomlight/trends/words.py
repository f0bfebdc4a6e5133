"""Confidence in a direction, and the words for it."""

from __future__ import annotations

import math
from typing import Literal

from fathomlight.errors import ArgumentError
from fathomlight.words import likelihood

Direction = Literal["increasing", "decreasing", "none"]


def direction_of(s: float) -> Direction:
    """Return the direction a score points to."""
    if s > 0:
        return "increasing"
    return "decreasing" if s < 0 else "none"


def direction_confidence(s: float, variance: float, *, continuity: bool = True) -> float:
    """Return the confidence that the true direction is that of S.

    Parameters
    ----------
    s, variance : float
        Kendall's score and its variance.
    continuity : bool
        True gives 1 - p/2, the number every result of this package carries, so that confidence and p agree;
        False gives Phi(|S|/sd), a normal posterior centred on S.

    Returns
    -------
    float
        0.5 to 1, [1].

    References
    ----------
    McBride, G.B. 2019. Has water quality improved or been maintained? A quantitative assessment procedure.
    Journal of Environmental Quality 48:412-420.

    Examples
    --------
    >>> round(direction_confidence(22, 155.3333), 3)
    0.954
    >>> round(direction_confidence(22, 155.3333, continuity=False), 3)
    0.961
    """
    if variance <= 0.0:
        return 0.5
    z = max(abs(s) - (1.0 if continuity else 0.0), 0.0) / math.sqrt(variance)
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def direction_words(
    direction: str, confidence: float, *, clearer: Literal["higher", "lower"] | None = None
) -> str:
    """Say a direction with its certainty in words.

    Parameters
    ----------
    direction : {"increasing", "decreasing", "none"}
    confidence : float
        Confidence in that direction, 0.5 to 1, [1].
    clearer : {"higher", "lower"}, optional
        Whether higher or lower values mean clearer water; then the words are clearer and murkier.

    Returns
    -------
    str
        Such as ``very likely getting clearer (93 %)``.

    Examples
    --------
    >>> direction_words("increasing", 0.93, clearer="higher")
    'very likely getting clearer (93 %)'
    >>> direction_words("decreasing", 0.55)
    'as likely increasing as decreasing (55 % for decreasing)'
    """
    if direction not in {"increasing", "decreasing", "none"}:
        raise ArgumentError(
            "direction", "unknown direction", got=direction, expected="increasing, decreasing or none"
        )
    if direction == "none" or math.isnan(confidence):
        return "no direction can be told"
    names = ("increasing", "decreasing")
    if clearer is not None:
        names = (
            ("getting clearer", "getting murkier")
            if clearer == "higher"
            else ("getting murkier", "getting clearer")
        )
    said, other = names if direction == "increasing" else names[::-1]
    percent = f"{_percent(confidence)} %"
    if confidence < 0.66:
        first, second = (said, other) if direction == "increasing" else (other, said)
        return f"as likely {first} as {second} ({percent} for {said})"
    word = likelihood(confidence)
    return (
        f"{word} {said} ({percent})"
        if word != "virtually certain"
        else f"virtually certainly {said} ({percent})"
    )


def _percent(confidence: float) -> str:
    if confidence > 0.995:
        return ">99"
    return f"{100 * confidence:.0f}"
