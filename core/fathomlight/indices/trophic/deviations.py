"""Carlson's two deviations: what it means when the indices of one lake disagree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, elementwise
from fathomlight.indices.trophic.carlson import Form, tsi_chlorophyll, tsi_phosphorus, tsi_secchi
from fathomlight.indices.words import CLARITY_CAUTION, ONE_INPUT_NOTE
from fathomlight.model import Result

CLEARER_WORDS = (
    "clearer than its chlorophyll predicts: "
    "large particles (colonies or flakes), or small cells were grazed away"
)
MURKIER_WORDS = (
    "murkier than its chlorophyll predicts: something other than algae clouds it (silt, brown colour or "
    "very small "
    "particles)"
)
MORE_ALGAE_WORDS = "more algae than its phosphorus implies: phosphorus limits them, or it is recycled fast"
LESS_ALGAE_WORDS = (
    "less algae than its phosphorus would allow: "
    "something else holds them down (nitrogen, grazing, light or toxins)"
)
CLAY_WORDS = (
    "murkier than its chlorophyll predicts and rich in phosphorus its algae do not use: clay or colour "
    "dominates and "
    "probably carries the phosphorus"
)
AGREE_WORDS = (
    "as its chlorophyll predicts on both counts: algae control the light and phosphorus limits the algae"
)


@dataclass(frozen=True, kw_only=True)
class DeviationsResult(Result):
    """Carlson's deviations; every field but the texts is a float, or an array when arrays were given.

    Attributes
    ----------
    tsi_secchi, tsi_chlorophyll, tsi_phosphorus : float or array
        The three indices, [1]; NaN where the input is missing.
    x : float or array
        TSI(chlorophyll) - TSI(disc depth): above zero clearer than chlorophyll predicts, below murkier.
    y : float or array
        TSI(chlorophyll) - TSI(phosphorus): above zero more algae than phosphorus implies, below less.
    dead_band : float
        Deviations up to this size are called agreement.
    pattern : str or array of str
        Short name: ``agreement``, ``large particles``, ``non-algal turbidity``, ``phosphorus limitation``,
        ``surplus phosphorus``, two of them joined with ``with``, or ``unknown``.
    reading : str or tuple of str
        One plain sentence (for each pair).
    method, caution : str
        How it was done, and what it does not say.
    notes : tuple of str
        What to know before using it.
    """

    tsi_secchi: Any
    tsi_chlorophyll: Any
    tsi_phosphorus: Any
    x: Any
    y: Any
    dead_band: float
    pattern: Any
    reading: Any
    method: str
    caution: str = CLARITY_CAUTION
    notes: tuple[str, ...] = ()


def _words(x: float, y: float, band: float) -> tuple[str, str]:
    """Name and describe one pair of deviations; NaN on one axis leaves the other to speak."""
    x_side = 0 if np.isnan(x) or abs(x) <= band else int(np.sign(x))
    y_side = 0 if np.isnan(y) or abs(y) <= band else int(np.sign(y))
    if np.isnan(x) and np.isnan(y):
        return "unknown", "There are not enough readings to compare the indices."
    both_x = {1: ("large particles", CLEARER_WORDS), -1: ("non-algal turbidity", MURKIER_WORDS)}
    both_y = {1: ("phosphorus limitation", MORE_ALGAE_WORDS), -1: ("surplus phosphorus", LESS_ALGAE_WORDS)}
    if x_side == -1 and y_side == -1 and abs(x - y) <= band:
        return "non-algal turbidity with surplus phosphorus", f"The water is {CLAY_WORDS}."
    if x_side and y_side:
        (x_name, x_text), (y_name, y_text) = both_x[x_side], both_y[y_side]
        return f"{x_name} with {y_name}", f"The water is {x_text}; it holds {y_text}."
    if x_side:
        return both_x[x_side][0], f"The water is {both_x[x_side][1]}."
    if y_side:
        return both_y[y_side][0], f"The water holds {both_y[y_side][1]}."
    if np.isnan(x) or np.isnan(y):
        which = "phosphorus" if np.isnan(x) else "the disc"
        return "agreement", f"Chlorophyll and {which} tell the same story; the third index is missing."
    return "agreement", f"The water is {AGREE_WORDS}."


def carlson_deviations(
    *,
    chlorophyll_ug_l: Any,
    secchi_m: Any = None,
    tp_ug_l: Any = None,
    form: Form = "simplified",
    dead_band: float = 5.0,
) -> DeviationsResult:
    """Compare the three trophic state indices of one water.

    Parameters
    ----------
    chlorophyll_ug_l : float or array_like
        Chlorophyll a, [ug/L]; shape (n,) or scalar.
    secchi_m, tp_ug_l : float or array_like, optional
        Disc depth, [m], and total phosphorus, [ug/L], of the same seasons; same shape. At least one of the
        two.
    form : {"simplified", "original"}
        Form of the equations.
    dead_band : float
        Deviations of up to so many units are agreement. 5 units is common practice (no source).

    Returns
    -------
    DeviationsResult
        ``x = TSI(chl) - TSI(SD)``, ``y = TSI(chl) - TSI(TP)``, with the pattern in words.

    Raises
    ------
    ArgumentError
        An input is not greater than zero, the dead band is negative, or both comparisons are missing.

    References
    ----------
    Carlson, R.E. 1991. Expanding the trophic state concept to identify non-nutrient limited lakes and
    reservoirs. Pp. 59-71 in Enhancing the States' Lake Management Programs. USEPA and NALMS.

    Examples
    --------
    >>> result = carlson_deviations(secchi_m=1.0, chlorophyll_ug_l=10.0, tp_ug_l=100.0)
    >>> round(result.x, 2), round(result.y, 2), result.pattern
    (-6.81, -17.37, 'non-algal turbidity with surplus phosphorus')
    """
    if not dead_band >= 0:
        raise ArgumentError("dead_band", "must not be negative", got=dead_band)
    if secchi_m is None and tp_ug_l is None:
        raise ArgumentError("secchi_m", "give disc depth or phosphorus (or both) to compare chlorophyll with")
    nothing = np.full(np.shape(chlorophyll_ug_l), np.nan)
    chl = tsi_chlorophyll(chlorophyll_ug_l, form=form)
    disc = tsi_secchi(nothing if secchi_m is None else secchi_m, form=form)
    tp = tsi_phosphorus(nothing if tp_ug_l is None else tp_ug_l, form=form)
    x, y = chl - disc, chl - tp

    def pattern(a: FloatArray, b: FloatArray, part: int) -> npt.NDArray[np.object_]:
        a, b = np.broadcast_arrays(a, b)
        words = [_words(float(i), float(j), dead_band)[part] for i, j in zip(a.flat, b.flat, strict=True)]
        return np.array(words, dtype=object).reshape(a.shape)

    def short(a: FloatArray, b: FloatArray) -> npt.NDArray[np.object_]:
        return pattern(a, b, 0)

    found = elementwise(short, x, y, names=("x", "y"), unit="", label="pattern", dtype=object)
    said = pattern(np.asarray(x, dtype=float), np.asarray(y, dtype=float), 1)
    return DeviationsResult(
        tsi_secchi=disc,
        tsi_chlorophyll=chl,
        tsi_phosphorus=tp,
        x=x,
        y=y,
        dead_band=dead_band,
        pattern=found,
        reading=str(said.item()) if said.ndim == 0 else tuple(str(s) for s in said.flat),
        method=(
            f"Deviations of Carlson (1991) between {form} trophic state indices; differences up to "
            f"{dead_band:g} units count as agreement."
        ),
        notes=(ONE_INPUT_NOTE, f"The dead band of {dead_band:g} units is common practice without a source."),
    )


def pattern_words(x: float, y: float, *, dead_band: float = 5.0) -> str:
    """Name the pattern of one pair of deviations that were computed before.

    Parameters
    ----------
    x, y : float
        TSI(chlorophyll) - TSI(disc depth) and TSI(chlorophyll) - TSI(phosphorus); NaN where unknown, [1].
    dead_band : float
        Deviations of up to so many units are agreement, [1].

    Returns
    -------
    str
        As ``pattern`` of :func:`carlson_deviations`.

    Examples
    --------
    >>> pattern_words(-6.81, -17.37)
    'non-algal turbidity with surplus phosphorus'
    """
    return _words(float(x), float(y), dead_band)[0]
