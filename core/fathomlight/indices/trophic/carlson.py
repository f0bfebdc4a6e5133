"""Trophic state indices of Carlson (1977) and of Kratzer & Brezonik (1981).

Ten units are one halving of disc depth or one doubling of phosphorus; chlorophyll doubles about every seven
units. The scale has no ends: values below 0 or above 100 are possible and are not clipped.

Two forms of Carlson's equations are in use and differ by up to about 0.03 units: the *original* with
logarithms to the base 2 (Carlson 1977), and the *simplified* one with rounded constants (Carlson & Simpson
1996), which most programmes report. Simplified is the default here.
"""

from __future__ import annotations

import math
import warnings
from typing import Any, Literal

import numpy as np

from fathomlight.errors import OutOfRangeWarning
from fathomlight.indices._values import FloatArray, check_choice, check_positive, elementwise

Form = Literal["simplified", "original"]
FORMS = ("simplified", "original")

_LN2 = math.log(2.0)
_TN_DOUBTFUL_MG_L = 30.0


def tsi_secchi(secchi_m: Any, *, form: Form = "simplified") -> Any:
    """Trophic state index from disc depth.

    Parameters
    ----------
    secchi_m : float or array_like
        Secchi depth, [m], greater than zero; any shape.
    form : {"simplified", "original"}
        ``60 - 14.41 ln SD`` (Carlson & Simpson 1996), or ``10 (6 - ln SD / ln 2)`` (Carlson 1977).

    Returns
    -------
    float or array
        Index, [1], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        ``secchi_m`` is zero, negative or infinite, or ``form`` is unknown.

    Notes
    -----
    A disc seen on the bottom (qualifier ``>``) gives an upper bound of the index, not its value: see
    :func:`fathomlight.indices.seasonal.seasonal_index`.

    References
    ----------
    Carlson, R.E. 1977. A trophic state index for lakes. Limnol. Oceanogr. 22:361-369.

    Carlson, R.E. & J. Simpson. 1996. A Coordinator's Guide to Volunteer Lake Monitoring Methods. NALMS.

    Examples
    --------
    >>> tsi_secchi(1.0), tsi_secchi(0.5, form="original")
    (60.0, 70.0)
    """
    check_choice("form", form, FORMS)

    def kernel(sd: FloatArray) -> FloatArray:
        check_positive("secchi_m", sd, "a disc depth")
        return 60.0 - 14.41 * np.log(sd) if form == "simplified" else 10.0 * (6.0 - np.log2(sd))

    return elementwise(
        kernel, secchi_m, names=("secchi_m",), unit="1", label="trophic state index, disc depth"
    )


def tsi_chlorophyll(chlorophyll_ug_l: Any, *, form: Form = "simplified") -> Any:
    """Trophic state index from chlorophyll a.

    Parameters
    ----------
    chlorophyll_ug_l : float or array_like
        Chlorophyll a, [ug/L], greater than zero; any shape.
    form : {"simplified", "original"}
        ``9.81 ln Chl + 30.6`` (Carlson & Simpson 1996), or ``10 (6 - (2.04 - 0.68 ln Chl) / ln 2)``
        (Carlson 1977).

    Returns
    -------
    float or array
        Index, [1], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        ``chlorophyll_ug_l`` is zero, negative or infinite, or ``form`` is unknown.

    Notes
    -----
    The table printed with the 1977 paper sets 6.4 ug/L beside index 50; its own equation gives 48.8 there
    and reaches 50 at about 7.2. The equation is followed.

    References
    ----------
    Carlson, R.E. 1977. A trophic state index for lakes. Limnol. Oceanogr. 22:361-369.

    Carlson, R.E. & J. Simpson. 1996. A Coordinator's Guide to Volunteer Lake Monitoring Methods. NALMS.

    Examples
    --------
    >>> round(tsi_chlorophyll(20.0), 3)
    59.988
    """
    check_choice("form", form, FORMS)

    def kernel(chl: FloatArray) -> FloatArray:
        check_positive("chlorophyll_ug_l", chl, "chlorophyll")
        if form == "simplified":
            return 9.81 * np.log(chl) + 30.6
        return 10.0 * (6.0 - (2.04 - 0.68 * np.log(chl)) / _LN2)

    label = "trophic state index, chlorophyll"
    return elementwise(kernel, chlorophyll_ug_l, names=("chlorophyll_ug_l",), unit="1", label=label)


def tsi_phosphorus(tp_ug_l: Any, *, form: Form = "simplified") -> Any:
    """Trophic state index from total phosphorus.

    Parameters
    ----------
    tp_ug_l : float or array_like
        Total phosphorus, [ug/L], greater than zero; any shape.
    form : {"simplified", "original"}
        ``14.42 ln TP + 4.15`` (Carlson & Simpson 1996), or ``10 (6 - ln(48 / TP) / ln 2)`` (Carlson 1977).

    Returns
    -------
    float or array
        Index, [1], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        ``tp_ug_l`` is zero, negative or infinite, or ``form`` is unknown.

    References
    ----------
    Carlson, R.E. 1977. A trophic state index for lakes. Limnol. Oceanogr. 22:361-369.

    Carlson, R.E. & J. Simpson. 1996. A Coordinator's Guide to Volunteer Lake Monitoring Methods. NALMS.

    Examples
    --------
    >>> tsi_phosphorus(24.0, form="original"), round(tsi_phosphorus(24.0), 3)
    (50.0, 49.978)
    """
    check_choice("form", form, FORMS)

    def kernel(tp: FloatArray) -> FloatArray:
        check_positive("tp_ug_l", tp, "total phosphorus")
        return 14.42 * np.log(tp) + 4.15 if form == "simplified" else 10.0 * (6.0 - np.log2(48.0 / tp))

    return elementwise(kernel, tp_ug_l, names=("tp_ug_l",), unit="1", label="trophic state index, phosphorus")


def check_nitrogen(argument: str, tn: FloatArray) -> None:
    """Refuse impossible total nitrogen, and doubt values that look like ug/L."""
    check_positive(argument, tn, "total nitrogen")
    if np.any(tn > _TN_DOUBTFUL_MG_L):
        warnings.warn(
            f"{argument}: total nitrogen above {_TN_DOUBTFUL_MG_L:g} mg/L; is it in ug/L?",
            OutOfRangeWarning,
            stacklevel=2,
        )


def tsi_nitrogen(tn_mg_l: Any) -> Any:
    """Trophic state index from total nitrogen, for lakes in which nitrogen limits algae.

    Parameters
    ----------
    tn_mg_l : float or array_like
        Total nitrogen as N, **[mg/L]** (phosphorus is in ug/L), greater than zero; any shape.

    Returns
    -------
    float or array
        ``54.45 + 14.43 ln TN``, [1], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        ``tn_mg_l`` is zero, negative or infinite.

    Warns
    -----
    OutOfRangeWarning
        A value above 30 mg/L, which is almost always a value in ug/L (common practice, no source).

    References
    ----------
    Kratzer, C.R. & P.L. Brezonik. 1981. A Carlson-type trophic state index for nitrogen in Florida lakes.
    Water Resour. Bull. 17:713-715.

    Examples
    --------
    >>> tsi_nitrogen(1.0)
    54.45
    """

    def kernel(tn: FloatArray) -> FloatArray:
        check_nitrogen("tn_mg_l", tn)
        return 54.45 + 14.43 * np.log(tn)

    return elementwise(kernel, tn_mg_l, names=("tn_mg_l",), unit="1", label="trophic state index, nitrogen")


TSI_BY_PARAMETER = {
    "secchi": tsi_secchi,
    "chlorophyll": tsi_chlorophyll,
    "total_phosphorus": tsi_phosphorus,
    "total_nitrogen": tsi_nitrogen,
}
"""The index of each parameter, all in canonical units."""
