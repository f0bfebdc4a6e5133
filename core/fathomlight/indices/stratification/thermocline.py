"""Thermocline, metalimnion and mixed layer of one temperature profile."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_positive
from fathomlight.indices.stratification.density import DENSEST_DEGC, Formula, density_quietly
from fathomlight.indices.stratification.profile import tidy_profile
from fathomlight.indices.stratification.stability import depth_area, integrate
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class ThermoclineResult(Result):
    """Layers of one profile. Depths in [m]; NaN where there is no such layer.

    Attributes
    ----------
    depth : float
        Middle of the step with the steepest rise of density, [m]; NaN when there is no thermocline.
    gradient : float
        Steepest rise of density, [kg/m3/m], whether or not it makes a thermocline.
    steepest_fall : float
        Steepest fall of temperature, [degC/m], and ``steepest_fall_depth`` its middle, [m].
    metalimnion_top, metalimnion_bottom : float
        Span around ``depth`` in which density rises by at least ``min_density_gradient``.
    birge_top, birge_bottom : float
        Span around the steepest fall in which temperature falls by at least ``min_temperature_gradient``.
    stratified, inverse : bool
        Whether there is a thermocline; whether colder water lies over warmer water below 4 degC (under ice).
    n : int
        Depths used.
    density_difference : float
        Density of the deepest minus that of the shallowest reading, [kg/m3].
    reading : str
        One plain sentence.
    method : str
        How it was done.
    notes : tuple of str
        What to know before using it.
    """

    depth: float
    gradient: float
    steepest_fall: float
    steepest_fall_depth: float
    metalimnion_top: float
    metalimnion_bottom: float
    birge_top: float
    birge_bottom: float
    stratified: bool
    inverse: bool
    n: int
    density_difference: float
    reading: str
    method: str
    notes: tuple[str, ...] = ()


def _span(steps: FloatArray, peak: int, least: float, edges: FloatArray) -> tuple[float, float]:
    """Return the depths around step ``peak`` between which every step is at least ``least``."""
    if not steps[peak] >= least:
        return math.nan, math.nan
    top = bottom = peak
    while top > 0 and steps[top - 1] >= least:
        top -= 1
    while bottom < steps.size - 1 and steps[bottom + 1] >= least:
        bottom += 1
    return float(edges[top]), float(edges[bottom + 1])


def thermocline(
    depths_m: Any,
    temperatures: Any,
    *,
    min_density_gradient: float = 0.1,
    min_temperature_gradient: float = 1.0,
    formula: Formula = "tanaka",
) -> ThermoclineResult:
    """Find thermocline and metalimnion of one profile, by density and by temperature.

    Parameters
    ----------
    depths_m, temperatures : array_like, shape (n,)
        Depths, [m], in any order, and water temperatures, [degC]. Pairs with NaN are left out, repeats at
        one depth averaged.
    min_density_gradient : float
        Least rise of density that counts as metalimnion, [kg/m3/m]; 0.1 is common practice (no source).
    min_temperature_gradient : float
        Least fall of temperature that counts, [degC/m]; 1 is Birge's rule.
    formula : str
        Density formula, see :func:`~fathomlight.indices.stratification.water_density`.

    Returns
    -------
    ThermoclineResult
        ``depth`` is the middle of the step with the steepest rise of density; NaN when no step reaches
        ``min_density_gradient``, as in a mixed lake, and under ice, where colder water floats on warmer.

    Raises
    ------
    ArgumentError
        A depth is negative, a temperature impossible, a threshold not greater than zero, or fewer than
        three depths are left.

    References
    ----------
    Birge, E.A. 1897. Plankton studies on Lake Mendota II. Trans. Wisc. Acad. Sci. Arts Lett. 11:274-448
    (the rule of 1 degC per m; quoted from memory).

    Wetzel, R.G. 2001. Limnology: Lake and River Ecosystems. Academic Press (the plane of steepest gradient).

    Examples
    --------
    >>> layers = thermocline([0, 2, 4, 6, 8, 10], [22, 22, 21.8, 14, 10, 9])
    >>> layers.depth, layers.metalimnion_top, layers.metalimnion_bottom
    (5.0, 4.0, 8.0)
    >>> thermocline([0, 5, 10], [12, 12, 12]).depth
    nan
    """
    for name, value in (
        ("min_density_gradient", min_density_gradient),
        ("min_temperature_gradient", min_temperature_gradient),
    ):
        check_positive(name, as_floats(name, value), "a threshold")
    z, t = tidy_profile(depths_m, temperatures)
    if z.size < 3:
        raise ArgumentError("depths_m", "a profile needs three depths or more", got=int(z.size))
    rho = density_quietly(t, formula)
    width = np.diff(z)
    rise, fall = np.diff(rho) / width, -np.diff(t) / width
    peak, fall_peak = int(np.argmax(rise)), int(np.argmax(fall))
    middle = (z[1:] + z[:-1]) / 2
    inverse = bool(t[0] < DENSEST_DEGC and t[-1] > t[0] and t[peak] < DENSEST_DEGC)
    stratified = bool(rise[peak] >= min_density_gradient) and not inverse
    top, bottom = _span(rise, peak, min_density_gradient, z) if stratified else (math.nan, math.nan)
    birge_top, birge_bottom = _span(fall, fall_peak, min_temperature_gradient, z)
    depth = float(middle[peak]) if stratified else math.nan
    return ThermoclineResult(
        depth=depth,
        gradient=float(rise[peak]),
        steepest_fall=float(fall[fall_peak]),
        steepest_fall_depth=float(middle[fall_peak]) if fall[fall_peak] > 0 else math.nan,
        metalimnion_top=top,
        metalimnion_bottom=bottom,
        birge_top=birge_top,
        birge_bottom=birge_bottom,
        stratified=stratified,
        inverse=inverse,
        n=int(z.size),
        density_difference=float(rho[-1] - rho[0]),
        reading=_reading(depth, top, bottom, inverse, t),
        method=(
            f"Thermocline: middle of the step with the steepest rise of density ({formula}), at least "
            f"{min_density_gradient:g} kg/m3 per m; metalimnion by that threshold and by a fall of "
            f"{min_temperature_gradient:g} degC per m (Birge 1897)."
        ),
        notes=_notes(z, rise, stratified, width, peak),
    )


def _reading(depth: float, top: float, bottom: float, inverse: bool, t: FloatArray) -> str:
    if inverse:
        return (
            f"Colder water ({t[0]:.1f} degC) floats on warmer water ({t[-1]:.1f} degC), as under ice; "
            "this is not a summer thermocline."
        )
    if math.isnan(depth):
        return "The water is much the same from top to bottom: there is no thermocline."
    return (
        f"A warm layer lies on cold water: the temperature drops between {top:.1f} and {bottom:.1f} m, "
        f"most steeply near {depth:.1f} m."
    )


def _notes(
    z: FloatArray, rise: FloatArray, stratified: bool, width: FloatArray, peak: int
) -> tuple[str, ...]:
    notes = []
    if stratified and width[peak] > 2.0:
        notes.append(
            f"The readings around the thermocline are {width[peak]:.1f} m apart; "
            "its depth is no better known than that."
        )
    if np.any(rise < -0.01):
        notes.append(
            "Denser water seems to lie over lighter water in places: check the profile, it cannot last in "
            "a lake."
        )
    if stratified and peak == rise.size - 1:
        notes.append(f"The steepest step is the deepest one ({z[-2]:g} to {z[-1]:g} m); it may go on below.")
    return tuple(notes)


def _mixed_layer_bottom(z: FloatArray, layers: ThermoclineResult) -> float:
    return layers.metalimnion_top if layers.stratified else float(z[-1])


def mixed_layer_temperature(
    depths_m: Any,
    temperatures: Any,
    *,
    area_depths_m: Any = None,
    areas_m2: Any = None,
    min_density_gradient: float = 0.1,
    formula: Formula = "tanaka",
) -> float:
    """Mean temperature of the mixed surface layer; of the whole column when there is no thermocline.

    Parameters
    ----------
    depths_m, temperatures : array_like, shape (n,)
        Profile, [m] and [degC].
    area_depths_m, areas_m2 : array_like, shape (m,), optional
        Depth-area table; the mean is then weighted by volume, otherwise by depth.
    min_density_gradient : float
        As for :func:`thermocline`.
    formula : str
        Density formula.

    Returns
    -------
    float
        ``integral T A dz / integral A dz`` from the surface to the top of the metalimnion, [degC].

    Raises
    ------
    ArgumentError
        As for :func:`thermocline`; or only half of the depth-area table is given.

    Examples
    --------
    >>> mixed_layer_temperature([0, 2, 4, 6, 8, 10], [22, 22, 22, 14, 10, 9])
    22.0
    """
    layers = thermocline(depths_m, temperatures, min_density_gradient=min_density_gradient, formula=formula)
    z, t = tidy_profile(depths_m, temperatures)
    bottom = _mixed_layer_bottom(z, layers)
    if (area_depths_m is None) != (areas_m2 is None):
        raise ArgumentError("areas_m2", "give area_depths_m and areas_m2 together")
    if area_depths_m is None:
        za, a = np.array([0.0, max(bottom, 1e-9)]), np.array([1.0, 1.0])
    else:
        za, a = depth_area(area_depths_m, areas_m2)
        bottom = min(bottom, float(za[-1]))
    if bottom <= 0:
        return float(t[0])
    volume = integrate(lambda x: np.interp(x, za, a), (za, z), bottom)
    heat = integrate(lambda x: np.interp(x, za, a) * np.interp(x, z, t), (za, z), bottom)
    return float(heat / volume)
