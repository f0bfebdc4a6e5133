"""Trophic level index of Burns, Rutherford & Clayton (1999)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, check_choice, check_positive, elementwise
from fathomlight.indices.trophic.carlson import check_nitrogen
from fathomlight.indices.trophic.classes import TROPHIC_LEVEL_CLASSES
from fathomlight.indices.words import CLARITY_CAUTION, class_words
from fathomlight.model import Result

SecchiEquation = Literal["original", "revised"]
_SECCHI = {"original": (5.10, 2.27), "revised": (5.56, 2.60)}

LEVEL_LIMITS: dict[str, dict[str, tuple[float, ...]]] = {
    "chlorophyll_ug_l": {"both": (0.82, 2.0, 5.0, 12, 31)},
    "tp_ug_l": {"both": (4.1, 9.0, 20, 43, 96)},
    "tn_mg_l": {"both": (0.073, 0.157, 0.337, 0.725, 1.558)},
    "secchi_m": {"original": (15, 7.0, 2.8, 1.1, 0.4), "revised": (15, 7.8, 3.6, 1.6, 0.7)},
}
"""Printed limits of each input at trophic levels 2, 3, 4, 5 and 6; the disc column depends on the
equation."""


@dataclass(frozen=True, kw_only=True)
class TrophicLevelResult(Result):
    """Trophic level, from each input and as its authors combine them.

    Attributes
    ----------
    tlc, tlp, tln, tls : float or array
        Levels from chlorophyll, phosphorus, nitrogen and disc depth, [1]; NaN where the input is missing.
    tli4 : float or array
        Mean of the four; NaN unless all four are there.
    tli3 : float or array
        Mean of the first three (without the disc); NaN unless all three are there.
    classes : mapping of str to (str, None or array)
        Class by each of the six.
    secchi_equation : {"original", "revised"}
        Equation used for ``tls``.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    tlc: Any
    tlp: Any
    tln: Any
    tls: Any
    tli4: Any
    tli3: Any
    classes: dict[str, Any]
    secchi_equation: str
    reading: str
    method: str
    caution: str = CLARITY_CAUTION
    notes: tuple[str, ...] = ()


def _line(argument: str, label: str, values: Any, intercept: float, slope: float) -> Any:
    def kernel(v: FloatArray) -> FloatArray:
        if argument == "tn_mg_l":
            check_nitrogen(argument, v)
            v = v * 1000.0
        check_positive(argument, v, label)
        return intercept + slope * np.log10(v)

    return elementwise(kernel, values, names=(argument,), unit="1", label=f"trophic level, {label}")


def _secchi_level(values: Any, equation: SecchiEquation) -> Any:
    intercept, slope = _SECCHI[equation]

    def kernel(sd: FloatArray) -> FloatArray:
        check_positive("secchi_m", sd, "a disc depth")
        if np.any(sd >= 40):
            raise ArgumentError(
                "secchi_m", "the equation ends at 40 m", got=float(np.nanmax(sd)), expected="less than 40"
            )
        return intercept + slope * np.log10(1.0 / sd - 1.0 / 40.0)

    return elementwise(kernel, values, names=("secchi_m",), unit="1", label="trophic level, disc depth")


def _missing_like(values: tuple[Any, ...]) -> FloatArray:
    shape = next((np.shape(v) for v in values if v is not None), ())
    return np.full(shape, np.nan)


def trophic_level(
    *,
    chlorophyll_ug_l: Any = None,
    tp_ug_l: Any = None,
    tn_mg_l: Any = None,
    secchi_m: Any = None,
    secchi_equation: SecchiEquation = "original",
) -> TrophicLevelResult:
    """Trophic level index.

    Parameters
    ----------
    chlorophyll_ug_l, tp_ug_l : float or array_like, optional
        Annual mean chlorophyll a and total phosphorus, [ug/L]; scalar or one common shape.
    tn_mg_l : float or array_like, optional
        Annual mean total nitrogen, **[mg/L]** (the equation wants mg/m3; it is converted here).
    secchi_m : float or array_like, optional
        Annual mean disc depth, [m], below 40.
    secchi_equation : {"original", "revised"}
        ``TLs = 5.10 + 2.27 log10(1/SD - 1/40)`` as published in 1999, or ``5.56 + 2.60 log10(1/SD - 1/40)``
        of a later revision (year not established). Each has its own class table, see :data:`LEVEL_LIMITS`.

    Returns
    -------
    TrophicLevelResult
        ``TLc = 2.22 + 2.54 log10 Chl``, ``TLp = 0.218 + 2.92 log10 TP``, ``TLn = -3.61 + 3.01 log10 TN``
        with TN in mg/m3, ``TLs``; their mean of four, and of three without the disc.

    Raises
    ------
    ArgumentError
        Nothing was given, an input is not greater than zero, or a disc depth reaches 40 m.

    Warns
    -----
    OutOfRangeWarning
        Total nitrogen above 30 mg/L, almost always a value in ug/L.

    Notes
    -----
    This index *is* a mean across inputs, by its authors' definition; it is given only when every input of
    that mean is there, and never mixed with the indices of Carlson, which are not to be averaged.

    References
    ----------
    Burns, N.M., J.C. Rutherford & J.S. Clayton. 1999. A monitoring and classification system for New
    Zealand lakes and reservoirs. J. Lake Reserv. Manage. 15:255-271.

    Burns, N., G. Bryers & E. Bowman. 2000. Protocol for Monitoring Trophic Levels of New Zealand Lakes and
    Reservoirs. New Zealand Ministry for the Environment.

    Examples
    --------
    >>> result = trophic_level(chlorophyll_ug_l=10, tp_ug_l=20, tn_mg_l=0.3, secchi_m=3)
    >>> round(result.tli4, 3), round(result.tli3, 3), result.classes["tli3"]
    (4.141, 4.208, 'eutrophic')
    """
    check_choice("secchi_equation", secchi_equation, tuple(_SECCHI))
    given = (chlorophyll_ug_l, tp_ug_l, tn_mg_l, secchi_m)
    if all(v is None for v in given):
        raise ArgumentError(
            "chlorophyll_ug_l", "give at least one of chlorophyll, phosphorus, nitrogen, disc depth"
        )
    nan = _missing_like(given)
    tlc = _line(
        "chlorophyll_ug_l", "chlorophyll", nan if chlorophyll_ug_l is None else chlorophyll_ug_l, 2.22, 2.54
    )
    tlp = _line("tp_ug_l", "total phosphorus", nan if tp_ug_l is None else tp_ug_l, 0.218, 2.92)
    tln = _line("tn_mg_l", "total nitrogen", nan if tn_mg_l is None else tn_mg_l, -3.61, 3.01)
    tls = _secchi_level(nan if secchi_m is None else secchi_m, secchi_equation)
    tli3 = (tlc + tlp + tln) / 3.0
    tli4 = (tlc + tlp + tln + tls) / 4.0
    levels = {"tlc": tlc, "tlp": tlp, "tln": tln, "tls": tls, "tli4": tli4, "tli3": tli3}
    classes = {k: TROPHIC_LEVEL_CLASSES.classify(v, "trophic_level", k) for k, v in levels.items()}
    missing = [
        name
        for name, v in zip(("chlorophyll", "phosphorus", "nitrogen", "disc depth"), given, strict=True)
        if v is None
    ]
    notes = [
        "Two equations for the disc are in use; limits and class depend on which, so name it beside the "
        "number.",
        TROPHIC_LEVEL_CLASSES.edge_rule,
    ]
    if missing:
        notes.append(
            f"Missing: {', '.join(missing)}; a combined level is given only when all its inputs are there."
        )
    return TrophicLevelResult(
        **levels,
        classes=classes,
        secchi_equation=secchi_equation,
        reading=_reading(levels, classes),
        method=(
            f"Trophic level index of Burns et al. (1999), {secchi_equation} disc equation; "
            "TLI4 is the mean of four levels, TLI3 the mean of three without the disc."
        ),
        notes=tuple(notes),
    )


def _reading(levels: dict[str, Any], classes: dict[str, Any]) -> str:
    """Say the best combined level, or the first single one there is; arrays are not put in words."""
    for key in ("tli4", "tli3", "tlc", "tlp", "tln", "tls"):
        value, name = levels[key], classes[key]
        if np.ndim(value) == 0 and np.isfinite(value):
            said = f"{class_words(name)} ({name}, level {float(value):.1f})"
            return f"On the trophic level scale the water is {said}."
    return "One level for each value given."
