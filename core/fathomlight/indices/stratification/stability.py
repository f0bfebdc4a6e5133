"""Schmidt stability: the work it would take to mix a lake."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_not_negative, check_positive
from fathomlight.indices.stratification.density import Formula, density_quietly
from fathomlight.indices.stratification.profile import tidy_profile

STANDARD_GRAVITY = 9.81
"""Acceleration of gravity used by default, [m/s2]."""

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(4)
_LONGEST_PIECE_M = 0.5


def depth_area(area_depths_m: Any, areas_m2: Any) -> tuple[FloatArray, FloatArray]:
    """Check a depth-area table and return it shallow first.

    Raises
    ------
    ArgumentError
        Fewer than two rows, a negative depth or area, no surface row (depth 0), a repeated depth, or an
        area that grows with depth.
    """
    z, a = as_floats("area_depths_m", area_depths_m).ravel(), as_floats("areas_m2", areas_m2).ravel()
    if z.size != a.size:
        raise ArgumentError("areas_m2", "not as many areas as depths", got=a.size, expected=str(z.size))
    if z.size < 2 or not (np.isfinite(z).all() and np.isfinite(a).all()):
        raise ArgumentError(
            "area_depths_m", "a depth-area table needs two full rows or more", got=int(z.size)
        )
    check_not_negative("area_depths_m", z, "a depth")
    check_not_negative("areas_m2", a, "an area")
    order = np.argsort(z, kind="stable")
    z, a = z[order], a[order]
    if z[0] != 0:
        raise ArgumentError(
            "area_depths_m", "the table must begin at the surface", got=float(z[0]), expected="0"
        )
    if np.any(np.diff(z) == 0):
        raise ArgumentError(
            "area_depths_m", "the same depth stands there twice", got=float(z[:-1][np.diff(z) == 0][0])
        )
    if np.any(np.diff(a) > 0):
        raise ArgumentError(
            "areas_m2", "the area inside a depth contour cannot grow with depth", got=a.tolist()
        )
    check_positive("areas_m2", a[:1], "the area of the surface")
    return z, a


def integrate(
    function: Callable[[FloatArray], FloatArray], nodes: tuple[FloatArray, ...], bottom: float
) -> float:
    """Integrate a function smooth between the nodes from 0 to ``bottom``, by Gauss-Legendre pieces."""
    cuts = np.unique(np.concatenate([np.array([0.0, bottom]), *nodes]))
    cuts = cuts[(cuts >= 0) & (cuts <= bottom)]
    count = np.maximum(1, np.ceil(np.diff(cuts) / _LONGEST_PIECE_M).astype(int))
    fine = np.concatenate(
        [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(cuts, cuts[1:], count, strict=False)]
    )
    edges = np.append(fine, bottom)
    half = np.diff(edges)[:, None] / 2
    x = edges[:-1, None] + half * (1 + _GAUSS_X)
    return float(np.sum(half * _GAUSS_W * function(x)))


def schmidt_stability(
    depths_m: Any,
    temperatures: Any,
    area_depths_m: Any,
    areas_m2: Any,
    *,
    formula: Formula = "tanaka",
    gravity: float = STANDARD_GRAVITY,
) -> float:
    """Work per area of lake surface that would mix the lake to one density, without heat gained or lost.

    Parameters
    ----------
    depths_m, temperatures : array_like, shape (n,)
        Profile, [m] and [degC], linear between readings; above the first and below the last reading those
        are held. Two readings at one depth make a sharp step.
    area_depths_m, areas_m2 : array_like, shape (m,)
        Depth-area table: area inside each depth contour, from depth 0 to the deepest point; linear between
        rows.
    formula : str
        Density formula, see :func:`~fathomlight.indices.stratification.water_density`.
    gravity : float
        [m/s2].

    Returns
    -------
    float
        ``(g / A0) integral_0^zmax (z - zv) rho(z) A(z) dz`` with ``zv = integral z A dz / integral A dz``,
        [J/m2]. Zero for an even temperature; NaN when fewer than two readings are left.

    Raises
    ------
    ArgumentError
        Profile or depth-area table are impossible.

    Notes
    -----
    The integrals are evaluated exactly to rounding, by Gauss-Legendre quadrature between all given depths,
    so the answer does not depend on a grid.

    References
    ----------
    Schmidt, W. 1928. Ueber die Temperatur- und Stabilitaetsverhaeltnisse von Seen. Geogr. Ann. 10:145-177.

    Idso, S.B. 1973. On the concept of lake stability. Limnol. Oceanogr. 18:681-683.

    Examples
    --------
    >>> round(schmidt_stability([0, 10, 10, 20], [20, 20, 10, 10], [0, 20], [1e6, 1e6]), 3)
    733.766
    """
    check_positive("gravity", as_floats("gravity", gravity), "gravity")
    za, a = depth_area(area_depths_m, areas_m2)
    z, t = tidy_profile(depths_m, temperatures, merge=False)
    if z.size < 2:
        return float("nan")
    bottom = float(za[-1])
    volume = integrate(lambda x: np.interp(x, za, a), (za,), bottom)
    centre = integrate(lambda x: x * np.interp(x, za, a), (za,), bottom) / volume
    reference = float(
        density_quietly(np.asarray(t.mean()), formula)
    )  # subtracting a constant changes only rounding

    def moment(x: FloatArray) -> FloatArray:
        rho = density_quietly(np.interp(x, z, t), formula) - reference
        return np.asarray((x - centre) * rho * np.interp(x, za, a))

    return gravity / float(a[0]) * integrate(moment, (za, z), bottom)
