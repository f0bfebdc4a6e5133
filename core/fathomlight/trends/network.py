"""Seasonal Kendall tests of many stations at once."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.trends._distributions import chi_square_tail, normal_quantile
from fathomlight.trends._inputs import Codes, Floats, check_fraction

if TYPE_CHECKING:
    import xarray as xr

STATIONS_AT_ONCE = 256
"""Stations handed to one thread at a time."""

_NOTE = {
    "n": "values used",
    "n_years": "years with a value",
    "n_seasons": "seasons with a value",
    "s": "Kendall's S over all seasons",
    "variance": "variance of S that z and p use",
    "z": "standard score",
    "p": "two-sided probability under no trend",
    "tau": "S over all pairs compared",
    "slope": "Theil-Sen slope within seasons, per year",
    "slope_low": "lower limit of the slope",
    "slope_high": "upper limit of the slope",
    "covariance_used": "True where z and p include the covariance between seasons",
    "homogeneity_chi2": "van Belle and Hughes' chi-square: do the seasons share one trend",
    "homogeneity_p": "its probability",
    "confidence": "confidence in the direction of S, 1 - p/2",
}


@functools.cache
def _kernel() -> tuple[Any, tuple[str, ...]]:
    from fathomlight.trends._network_kernel import FIELDS, build

    return build(), FIELDS


def seasonal_kendall_kernel() -> tuple[Any, tuple[str, ...], Callable[[int, int], tuple[Any, ...]]]:
    """Return the compiled generalized ufunc, the names of what it returns, and its working memory.

    Returns
    -------
    kernel : ufunc
        ``kernel(values, codes, years, critical, dependence, *working)`` with values (..., year, season),
        int8 codes of the same shape (0 ``=``, -1 ``<``, 1 ``>``), years (year), the normal quantile of the
        limits and a bool; returns (..., field).
    fields : tuple of str
    working_arrays : callable
        ``working_arrays(n_years, n_seasons)`` returns ``working``, overwritten by the kernel; each thread
        needs its own.
    """
    from fathomlight.trends._network_kernel import working_arrays

    return *_kernel(), working_arrays


def network_trends(
    cube: Any,
    *,
    qualifiers: Any = None,
    serial_dependence: bool = True,
    confidence: float = 0.95,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> xr.Dataset:
    """Run the Seasonal Kendall test on every station of a network.

    The numbers are those of :func:`~fathomlight.trends.seasonal_kendall`, station by station, from one
    compiled kernel. A Dask-backed cube stays lazy and is computed chunk by chunk wherever Dask runs.

    Parameters
    ----------
    cube : xarray.DataArray, dims (station, year, season); or array-like, shape (station, year, season)
        One value per cell, NaN = missing. Further dimensions are kept. Without a ``year`` coordinate, years
        are 0, 1, ...
    qualifiers : like ``cube``, of {"=", "<", ">"} (or of 0, -1, 1), optional
    serial_dependence : bool
        Include the covariance between seasons from ten years on.
    confidence : float
        Level of the slope limits, [1].
    workers : int, optional
        Threads for a cube in memory; None means one per core. Dask brings its own.
    progress : callable, optional
        Called with (stations done, stations in all) for a cube in memory.

    Returns
    -------
    xarray.Dataset
        Over station: ``s, variance, z, p, tau, slope, slope_low, slope_high, n, n_years, n_seasons``, both
        versions of variance, z and p, homogeneity of the seasons, and ``confidence``; NaN where nothing
        could be tested.

    Raises
    ------
    ArgumentError
        On missing dimensions, repeated years, or qualifiers of another shape.

    References
    ----------
    Hirsch, R.M. & J.R. Slack. 1984. A nonparametric trend test for seasonal data with serial dependence.
    Water Resources Research 20:727-732. van Belle, G. & J.P. Hughes. 1984. Nonparametric tests for trend in
    water quality. Water Resources Research 20:127-136.

    Examples
    --------
    >>> rising = np.arange(12.0)[None, :, None] + np.zeros((2, 12, 3))
    >>> network_trends(rising).slope.values
    array([1., 1.])
    """
    import xarray as xr

    check_fraction(confidence, "confidence")
    array, codes, years = _prepared(cube, qualifiers)
    _, fields = _kernel()
    out = xr.apply_ufunc(
        _stations,
        array,
        codes,
        kwargs={
            "years": years,
            "critical": normal_quantile((1 + confidence) / 2),
            "dependence": serial_dependence,
            "workers": workers,
            "progress": progress,
            "lazy": array.chunks is not None,
        },
        input_core_dims=[["year", "season"], ["year", "season"]],
        output_core_dims=[["field"]],
        dask="parallelized",
        output_dtypes=[np.float64],
        dask_gufunc_kwargs={"output_sizes": {"field": len(fields)}},
    )
    result = xr.Dataset({name: out.isel(field=k, drop=True) for k, name in enumerate(fields)})
    for name in ("n", "n_years", "n_seasons"):
        result[name] = result[name].astype(np.int64)
    result["covariance_used"] = result["covariance_used"] > 0
    result["homogeneity_p"] = xr.apply_ufunc(
        _chi_square_p,
        result["homogeneity_df"],
        result["homogeneity_chi2"],
        dask="parallelized",
        output_dtypes=[np.float64],
    )
    result["confidence"] = 1 - result["p"] / 2
    for name, text in _NOTE.items():
        result[name].attrs["long_name"] = text
    result.attrs["method"] = (
        "Seasonal Kendall test per station, "
        + (
            "covariance between seasons from ten years on"
            if serial_dependence
            else "seasons taken as independent"
        )
        + f"; Theil-Sen slope within seasons with {100 * confidence:g} % limits (interpolated ranks)."
    )
    return result


def _prepared(cube: Any, qualifiers: Any) -> tuple[xr.DataArray, xr.DataArray, Floats]:
    import xarray as xr

    array = cube if isinstance(cube, xr.DataArray) else _wrapped(cube, "cube")
    missing = [dim for dim in ("year", "season") if dim not in array.dims]
    if missing:
        raise ArgumentError("cube", "lacks a dimension", got=array.dims, expected="(station, year, season)")
    codes = _codes(array, qualifiers)
    years = (
        np.asarray(array["year"].values, dtype=np.float64)
        if "year" in array.coords
        else np.arange(array.sizes["year"], dtype=np.float64)
    )
    if np.unique(years).size != years.size:
        raise ArgumentError(
            "cube", "a year appears twice", got=years.tolist()[:10], expected="one row per year"
        )
    order = np.argsort(years)
    if np.any(np.diff(order) < 0):
        array, codes, years = array.isel(year=order), codes.isel(year=order), years[order]
    if array.chunks is not None:
        array, codes = array.chunk({"year": -1, "season": -1}), codes.chunk({"year": -1, "season": -1})
    return array.astype(np.float64), codes, years


def _wrapped(values: Any, argument: str) -> xr.DataArray:
    import xarray as xr

    array = values if hasattr(values, "dask") else np.asarray(values)
    if array.ndim != 3:
        raise ArgumentError(
            argument, "must have three dimensions", got=array.shape, expected="(station, year, season)"
        )
    return xr.DataArray(array, dims=("station", "year", "season"))


def _codes(array: xr.DataArray, qualifiers: Any) -> xr.DataArray:
    import xarray as xr

    if qualifiers is None:
        return xr.zeros_like(array, dtype=np.int8)
    marks = qualifiers if isinstance(qualifiers, xr.DataArray) else _wrapped(qualifiers, "qualifiers")
    if dict(marks.sizes) != dict(array.sizes):
        raise ArgumentError(
            "qualifiers", "must have the shape of the cube", got=marks.shape, expected=str(array.shape)
        )
    marks = marks.transpose(*array.dims)
    if marks.dtype.kind in "iu":
        return marks.astype(np.int8)
    below, above = (marks == "<").astype(np.int8), (marks == ">").astype(np.int8)
    return above - below


def _stations(
    values: npt.NDArray[Any],
    codes: npt.NDArray[Any],
    *,
    years: Floats,
    critical: float,
    dependence: bool,
    workers: int | None,
    progress: Callable[[int, int], None] | None,
    lazy: bool,
) -> Floats:
    from fathomlight.trends._network_kernel import working_arrays

    kernel, fields = _kernel()
    shape = values.shape
    flat = np.ascontiguousarray(values).reshape(-1, *shape[-2:])
    marks: Codes = np.ascontiguousarray(codes, dtype=np.int8).reshape(-1, *shape[-2:])
    out = np.empty((flat.shape[0], len(fields)))

    def run(start: int) -> int:
        part = slice(start, start + STATIONS_AT_ONCE)
        kernel(flat[part], marks[part], years, critical, dependence, *working_arrays(*shape[-2:]), out[part])
        return int(min(start + STATIONS_AT_ONCE, flat.shape[0])) - start

    starts = range(0, flat.shape[0], STATIONS_AT_ONCE)
    threads = 1 if lazy else min(workers or os.cpu_count() or 1, max(len(starts), 1))
    done = 0
    with ThreadPoolExecutor(threads) as pool:
        for more in pool.map(run, starts):
            done += more
            if progress is not None and not lazy:
                progress(done, flat.shape[0])
    return out.reshape(*shape[:-2], len(fields))


def _chi_square_p(df: Floats, chi2: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        out: Floats = np.where(df > 0, chi_square_tail(df, chi2), np.nan)
    return out
