"""One way for every index to take numbers in and hand numbers out.

Scalars give floats, arrays give arrays, pandas Series keep their index, xarray DataArrays (also
Dask-backed) keep dims and coordinates and carry a ``units`` attribute. NaN passes through as NaN; the
impossible raises.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError

FloatArray = npt.NDArray[np.float64]


def is_dataarray(value: Any) -> bool:
    """Tell an xarray DataArray without importing xarray for those who do not use it."""
    xarray = sys.modules.get("xarray")
    return xarray is not None and isinstance(value, xarray.DataArray)


def as_floats(argument: str, value: Any) -> FloatArray:
    """Make a float array of anything array-like; None and pandas' missing become NaN.

    Raises
    ------
    ArgumentError
        ``value`` does not consist of numbers.
    """
    try:
        if isinstance(value, (pd.Series, pd.Index)):
            return np.asarray(value.to_numpy(dtype=float, na_value=np.nan))
        return np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        raise ArgumentError(argument, "not a number or an array of numbers", got=value) from None


def check_positive(argument: str, values: FloatArray, what: str) -> None:
    """Refuse zero, negative and infinite values; NaN passes."""
    _refuse(argument, values, (values <= 0) | np.isinf(values), f"{what} must be greater than zero")


def check_not_negative(argument: str, values: FloatArray, what: str) -> None:
    """Refuse negative and infinite values; NaN passes."""
    _refuse(argument, values, (values < 0) | np.isinf(values), f"{what} must not be negative")


def check_between(argument: str, values: FloatArray, low: float, high: float, what: str) -> None:
    """Refuse values outside ``low`` to ``high``; NaN passes."""
    bad = (values < low) | (values > high)
    _refuse(argument, values, bad, f"{what} must lie between {low:g} and {high:g}")


def _refuse(argument: str, values: FloatArray, bad: npt.NDArray[np.bool_], what: str) -> None:
    if np.any(bad):
        raise ArgumentError(argument, what, got=float(values[bad].flat[0]) if values.ndim else float(values))


def check_choice(argument: str, value: str, choices: tuple[str, ...]) -> None:
    """Refuse a word that is not among ``choices``."""
    if value not in choices:
        raise ArgumentError(argument, "unknown choice", got=value, expected=" or ".join(choices))


def elementwise(
    function: Callable[..., Any],
    *values: Any,
    names: tuple[str, ...],
    unit: str,
    label: str,
    dtype: type = float,
) -> Any:
    """Apply a function of plain arrays to values of any supported kind.

    Parameters
    ----------
    function : callable
        Takes as many arrays as there are ``values``; returns one array of their broadcast shape.
    *values : float or array_like
        Inputs, broadcast against one another.
    names : tuple of str
        Name of each input, for error messages.
    unit, label : str
        What a DataArray result carries as ``units`` and ``long_name``.
    dtype : type
        ``float``, or ``object`` for words.

    Returns
    -------
    float, str, None, numpy.ndarray, pandas.Series or xarray.DataArray
        Same kind as the richest input.
    """
    if any(is_dataarray(value) for value in values):
        import xarray as xr

        out = xr.apply_ufunc(
            lambda *arrays: function(*(as_floats(n, a) for n, a in zip(names, arrays, strict=True))),
            *values,
            dask="parallelized",
            output_dtypes=[dtype],
        )
        return out.assign_attrs({"units": unit, "long_name": label} if unit else {"long_name": label})
    arrays = [as_floats(name, value) for name, value in zip(names, values, strict=True)]
    series = [value for value in values if isinstance(value, pd.Series)]
    if any(not s.index.equals(series[0].index) for s in series[1:]):
        raise ArgumentError(
            names[0], "the Series given together have different indexes", fix="Align them first"
        )
    result = function(*arrays)
    if series:
        return pd.Series(result, index=series[0].index, name=label)
    if np.ndim(result) == 0:
        return result.item() if isinstance(result, np.ndarray | np.generic) else result
    return result


def qualifier_array(qualifiers: Any, n: int) -> npt.NDArray[np.str_]:
    """Return ``n`` qualifiers; None means all ``=``.

    Raises
    ------
    ArgumentError
        Wrong length, or something other than ``=``, ``<`` and ``>``.
    """
    if qualifiers is None:
        return np.full(n, "=", dtype="<U1")
    out = np.asarray(["=" if q is None or q == "" or q != q else str(q) for q in qualifiers], dtype="<U8")
    if out.size != n:
        raise ArgumentError("qualifiers", "not as many as values", got=int(out.size), expected=str(n))
    bad = ~np.isin(out, ("=", "<", ">"))
    if bad.any():
        raise ArgumentError("qualifiers", "unknown qualifier", got=str(out[bad][0]), expected="=, < or >")
    return out.astype("<U1")


def local_days(argument: str, dates: Any) -> npt.NDArray[np.datetime64]:
    """Return calendar days (``datetime64[D]``) of local dates or ISO texts; NaT where missing.

    Raises
    ------
    ArgumentError
        Something is no date, or carries a time zone (a local day is wanted, which the station decides).
    """
    try:
        texts = isinstance(dates, (list, tuple)) and any(isinstance(d, str) for d in dates)
        index = pd.DatetimeIndex(pd.to_datetime(dates, format="ISO8601") if texts else pd.to_datetime(dates))
    except (TypeError, ValueError, pd.errors.ParserError):
        raise ArgumentError(
            argument, "not dates", expected="local dates, or ISO texts such as 2025-07-24"
        ) from None
    if index.tz is not None:
        raise ArgumentError(argument, "local dates are wanted, without time zone", got=str(index.tz))
    return np.asarray(index, dtype="datetime64[D]")
