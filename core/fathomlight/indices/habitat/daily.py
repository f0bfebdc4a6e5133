"""Mean over a day of the lake bed in a band of light, without losing twilight between two time steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray
from fathomlight.indices.habitat.inputs import HabitatDays, HabitatInputs, day_of_year, lay_out
from fathomlight.indices.habitat.species import Species

_CHUNK_DAYS = 256


@dataclass(frozen=True)
class SweptBed:
    """Bed shallower than each depth, and its integral over depth, on an even grid.

    ``bed`` is (rows, cells + 2) [m2], the flat bottom last; ``swept`` (rows, cells + 1) [m3] its integral
    from the surface. Above the surface the bed is 0, below the bottom all of it.
    """

    bed: FloatArray
    swept: FloatArray
    deepest: float

    @classmethod
    def of(cls, nodes: FloatArray, bed: FloatArray) -> SweptBed:
        """Prepare bed given at grid nodes, one row a day or one row for all."""
        bed = np.atleast_2d(bed)
        step = float(nodes[1] - nodes[0])
        inner = bed[:, :-1]
        swept = np.zeros(inner.shape)
        np.cumsum((inner[:, 1:] + inner[:, :-1]) * (step / 2), axis=1, out=swept[:, 1:])
        return cls(bed, swept, float(nodes[-1]))

    def mean_between(self, depth: FloatArray, rows: Any) -> FloatArray:
        """Mean bed while the depth moves evenly from each column to the next.

        Parameters
        ----------
        depth : numpy.ndarray, shape (days, edges)
            [m]; may lie above the surface or below the bottom.
        rows : int or numpy.ndarray, shape (days, 1)
            Row of the bed of each day.

        Returns
        -------
        numpy.ndarray, shape (days, edges - 1)
            [m2].
        """
        cells = self.swept.shape[1] - 1
        step = self.deepest / cells
        position = np.clip(depth / step, 0.0, cells)
        cell = np.minimum(position.astype(np.int64), cells - 1)
        share = position - cell
        low = self.bed[rows, cell]
        rise = self.bed[rows, cell + 1] - low
        below = np.maximum(depth - self.deepest, 0.0)
        swept = self.swept[rows, cell] + step * share * (low + 0.5 * share * rise)
        all_bed = self.bed[rows, cells + 1]
        swept += below * all_bed
        at = np.where(depth >= self.deepest, all_bed, low + share * rise)
        move = np.diff(depth, axis=1)
        still = np.abs(move) < 1e-6
        between = np.diff(swept, axis=1) / np.where(still, 1.0, move)
        return np.asarray(np.where(still, (at[:, 1:] + at[:, :-1]) / 2, between))


def mean_area(
    laid: HabitatDays, beds: SweptBed, log_disc: FloatArray, k: float | FloatArray, species: Species
) -> FloatArray:
    """Mean over the 24 hours of the area of bed in the light band, for each day.

    Parameters
    ----------
    laid : HabitatDays
        Inputs by day, with light.
    beds : SweptBed
        Bed shallower than each depth, one row a day or one for all.
    log_disc : numpy.ndarray, shape (days,)
        ln of disc depth, [ln m].
    k : float or numpy.ndarray, shape (days,)
        k in Kd = k / SD.
    species : Species
        Whose light band.

    Returns
    -------
    numpy.ndarray, shape (days,)
        [m2]; NaN where an input is NaN.

    Notes
    -----
    Between two edges of :class:`~fathomlight.indices.habitat.daylight.LightCourse` ln(light), and with it
    the depth of each light, is taken as a straight line in time; the mean bed over that line is exact. In
    twilight the band sweeps through the lake within minutes, and a sum over instants would miss it.
    """
    assert laid.light is not None
    out = np.full(laid.days.size, np.nan)
    doy = day_of_year(laid.days)
    one = beds.bed.shape[0] == 1
    ok = np.flatnonzero(np.isfinite(log_disc) & (True if one else np.isfinite(beds.bed[:, 0])))
    scale = np.exp(log_disc) / k
    for at in range(0, ok.size, _CHUNK_DAYS):
        part = ok[at : at + _CHUNK_DAYS]
        light, share = laid.light.log_lux[doy[part]], laid.light.share[doy[part]]
        lit = np.flatnonzero((light > np.log(species.low_lux)).any(axis=0))
        if not lit.size:
            out[part] = 0.0
            continue
        last = min(lit[-1] + 2, light.shape[1])
        light, reach = light[:, :last], scale[part][:, None]
        rows = 0 if one else part[:, None]
        deep = beds.mean_between((light - np.log(species.low_lux)) * reach, rows)
        shallow = beds.mean_between((light - np.log(species.high_lux)) * reach, rows)
        out[part] = ((deep - shallow) * share[:, : last - 1]).sum(axis=1)
    return out


def lay_out_for_area(inputs: HabitatInputs, species: Species) -> HabitatDays:
    """Lay out the inputs, and refuse when there can be no area.

    Raises
    ------
    ArgumentError
        Disc readings, latitude or depth-area table are missing; it names which.
    """
    laid = lay_out(inputs, species.low_degc, species.high_degc)
    needed = {"disc readings": "secchi_m", "latitude": "latitude", "depth-area table": "area_depths_m"}
    for words, argument in needed.items():
        if words in laid.missing:
            raise ArgumentError(argument, f"habitat area cannot be computed without the {words}")
    return laid


def best_bed(laid: HabitatDays) -> tuple[SweptBed, str]:
    """Return the bed to use, and what it rests on: light and temperature, or light alone."""
    assert laid.nodes is not None
    assert laid.plain_bed is not None
    if laid.bed is None:
        return SweptBed.of(laid.nodes, laid.plain_bed), "light"
    return SweptBed.of(laid.nodes, laid.bed), "light and temperature"
