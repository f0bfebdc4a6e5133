"""Numbers of fish from marks seen again, and from a published catch-to-density rule."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fathomlight.errors import ArgumentError
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class MarkRecapture(Result):
    """Chapman's estimate of the number of fish.

    ``n`` [1] with standard error ``se`` and limits ``low``, ``high`` (Poisson limits of the recaptures below
    25 recaptures, normal above); ``marked``, ``caught``, ``recaptured`` as given; ``method`` and ``notes`` in
    words.
    """

    n: float
    se: float
    low: float
    high: float
    marked: int
    caught: int
    recaptured: int
    confidence: float
    method: str
    notes: tuple[str, ...]


def _whole(name: str, value: float) -> int:
    if isinstance(value, bool) or not math.isfinite(value) or value < 0 or value != int(value):
        raise ArgumentError(name, "must be a whole number from 0", got=value)
    return int(value)


def chapman(marked: int, caught: int, recaptured: int, *, confidence: float = 0.95) -> MarkRecapture:
    """Estimate the number of fish from one marking and one later sample.

    N = (M + 1)(C + 1)/(R + 1) - 1, Var N = (M + 1)(C + 1)(M - R)(C - R) / ((R + 1)^2 (R + 2)).

    Parameters
    ----------
    marked, caught, recaptured : int
        M marked and put back, C caught later, R of them marked.
    confidence : float
        Of the limits, 0 to 1.

    Returns
    -------
    MarkRecapture
        Estimate with limits.

    Raises
    ------
    ArgumentError
        Not whole numbers from 0, more recaptured than marked or caught, or none marked or caught.

    Notes
    -----
    Chapman, D.G. 1951. Some properties of the hypergeometric distribution with applications to zoological
    sample censuses. University of California Publications in Statistics 1:131-160. Variance: Seber, G.A.F.
    1970. The effects of trap response on tag recapture estimates. Biometrics 26:13-22.

    Examples
    --------
    >>> chapman(99, 49, 9).n
    499.0
    """
    from scipy.stats import chi2, norm

    m, c, r = _whole("marked", marked), _whole("caught", caught), _whole("recaptured", recaptured)
    if m == 0 or c == 0:
        raise ArgumentError("marked" if m == 0 else "caught", "must be at least 1", got=0)
    if r > min(m, c):
        raise ArgumentError(
            "recaptured", "cannot exceed the marked or the caught", got=r, expected=f"<= {min(m, c)}"
        )
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    n = (m + 1) * (c + 1) / (r + 1) - 1
    se = math.sqrt((m + 1) * (c + 1) * (m - r) * (c - r) / ((r + 1) ** 2 * (r + 2)))
    least = m + c - r
    tail = (1 - confidence) / 2
    if r < 25:
        few = float(chi2.ppf(tail, 2 * r) / 2) if r else 0.0
        many = float(chi2.ppf(1 - tail, 2 * (r + 1)) / 2)
        low, high = (m + 1) * (c + 1) / (many + 1) - 1, (m + 1) * (c + 1) / (few + 1) - 1
        how = "Poisson limits of the recaptures"
    else:
        half = float(norm.ppf(1 - tail)) * se
        low, high = n - half, n + half
        how = "normal limits"
    notes = ["Assumes no fish enter or leave, no lost marks, and marked fish as easily caught as others."]
    if r < 7:
        notes.append(f"Only {r} recaptures: the estimate is biased low and very unsure.")
    if r == 0:
        high = math.inf
        notes.append("No recaptures: nothing limits the number from above.")
    return MarkRecapture(
        n=n,
        se=se,
        low=max(float(least), low),
        high=high,
        marked=m,
        caught=c,
        recaptured=r,
        confidence=confidence,
        method=f"Chapman (1951) estimate, {m} marked, {c} caught, {r} recaptured; {how}.",
        notes=tuple(notes),
    )


def serns_density(fish_per_km: float) -> float:
    """Density of young walleye [1/ha] from the autumn night electrofishing catch [fish per km of shore].

    Fish per acre = 0.234 x fish per mile; in metric units 0.234 x 1.609344 / 0.40468564224 = 0.9306 x fish
    per km.

    Parameters
    ----------
    fish_per_km : float
        Young-of-the-year walleye caught per km of shore, autumn, at night [1/km].

    Returns
    -------
    float
        Young walleye per hectare [1/ha].

    Raises
    ------
    ArgumentError
        Below zero or not finite.

    Notes
    -----
    Serns, S.L. 1982. Relationship of walleye fingerling density and electrofishing catch per effort in
    northern Wisconsin lakes. N. Am. J. Fish. Manage. 2:451-457. The line was made for those lakes, age 0,
    autumn nights; it does not hold for other gears, ages or seasons.

    Examples
    --------
    >>> round(serns_density(50 / 1.609344) * 0.40468564224, 1)
    11.7
    """
    if not (math.isfinite(fish_per_km) and fish_per_km >= 0):
        raise ArgumentError("fish_per_km", "must be zero or more and finite", got=fish_per_km)
    return 0.234 * 1.609344 / 0.40468564224 * float(fish_per_km)
