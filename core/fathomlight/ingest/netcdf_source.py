"""CF NetCDF files: time series and profiles at stations, as rows of station, time, depth, value, unit.

Understood are the discrete sampling geometries of the CF conventions (chapter 9): orthogonal and incomplete
arrays, contiguous ragged (``sample_dimension``) and indexed ragged (``instance_dimension``). ``line``
counts observations from 1, variable by variable, as a file of this kind has no lines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from fathomlight.errors import RecipeError, UnreadableFileError
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import Recipe

__all__ = ["NetcdfSource"]

HEADER = ("station", "time", "depth", "parameter", "value", "unit")
ROWS = 100_000
_ROLES = ("timeseries_id", "profile_id", "trajectory_id")


@dataclass
class NetcdfSource:
    """A CF NetCDF file.

    Attributes
    ----------
    path : pathlib.Path
        NetCDF 4 (HDF5) or classic.
    recipe : Recipe
        How it is read; its long columns are ``station, time, depth, parameter, value, unit``.
    """

    path: Path
    recipe: Recipe
    progress: Callable[[int, int], None] | None = None
    name: str = ""
    warnings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.name = self.name or self.path.name

    def chunks(self) -> Iterator[RawTable]:
        """Give the file piece by piece."""
        import xarray as xr

        with self.path.open("rb") as file:
            engine = "h5netcdf" if file.read(4) == b"\x89HDF" else "scipy"
        try:
            data = xr.open_dataset(self.path, engine=engine, decode_timedelta=False)
        except Exception as error:
            raise UnreadableFileError(
                "the NetCDF file cannot be read", where=self.name, got=str(error)[:300],
                fix="Check that it was written completely and follows the CF conventions.",
            ) from None  # fmt: skip
        with data:
            yield from self._variables(data)

    def _variables(self, data: Any) -> Iterator[RawTable]:
        time = _time(data, self.name)
        line, names = 1, [str(n) for n in data.data_vars if _is_measured(data, str(n), time)]
        if not names:
            raise RecipeError(
                "no variable of this file is measured over time",
                where=self.name,
                got=", ".join(map(str, data.data_vars)) or "no variables",
                expected="variables with a time coordinate",
            )
        for done, name in enumerate(names, start=1):
            for table in self._rows(data, name, time, line):
                line += len(table)
                yield table
            if self.progress:
                self.progress(done, len(names))

    def _rows(self, data: Any, name: str, time: str, line: int) -> Iterator[RawTable]:
        variable = data[name]
        dims = variable.dims
        shape = variable.shape
        values = np.asarray(variable.values, dtype=float).ravel()
        there = np.flatnonzero(~np.isnan(values))
        digits = ".7g" if variable.dtype == np.float32 else ".15g"
        when = _spread(data, data[time].values, data[time].dims, dims, shape)
        depth = self._depth(data, name, dims, shape)
        station = _stations(data, dims, shape, self.name)
        label = str(variable.attrs.get("standard_name") or name)
        unit = str(variable.attrs.get("units", ""))
        for start in range(0, len(there), ROWS):
            at = there[start : start + ROWS]
            times = np.datetime_as_string(when[at].astype("datetime64[s]"))
            columns = [
                station[at].tolist(),
                [f"{t}Z" if t != "NaT" else "" for t in times],
                ["" if np.isnan(d) else f"{d:.7g}" for d in depth[at]],
                [label] * len(at),
                [format(v, digits) for v in values[at]],
                [unit] * len(at),
            ]
            numbers = line + start + np.arange(len(at), dtype=np.int64)
            yield RawTable(self.name, HEADER, [pa.array(c, pa.string()) for c in columns], numbers)

    def _depth(self, data: Any, name: str, dims: tuple[Any, ...], shape: tuple[int, ...]) -> np.ndarray:
        """Depth below the surface [m] of every value; NaN where the file gives none."""
        for key in [
            *data[name].coords,
            *str(data[name].attrs.get("coordinates", "")).split(),
            *data.variables,
        ]:
            if key not in data.variables or not set(data[key].dims) <= set(dims):
                continue
            attrs = data[key].attrs
            vertical = (
                attrs.get("standard_name") in ("depth", "height", "altitude") or attrs.get("axis") == "Z"
            )
            if not vertical and str(key).lower() not in ("depth", "depth_m", "z"):
                continue
            scale = {"cm": 0.01, "ft": 0.3048, "feet": 0.3048}.get(str(attrs.get("units", "m")), 1.0)
            numbers = np.asarray(data[key].values, dtype=float) * scale
            up = attrs.get("positive") == "up" or attrs.get("standard_name") in ("height", "altitude")
            return _spread(data, -numbers if up else numbers, data[key].dims, dims, shape)
        return np.full(int(np.prod(shape)), np.nan)


def _time(data: Any, name: str) -> str:
    for key in data.variables:
        if np.issubdtype(data[key].dtype, np.datetime64) and (
            data[key].attrs.get("standard_name") == "time"
            or data[key].attrs.get("axis") == "T"
            or key == "time"
        ):
            return str(key)
    raise RecipeError(
        "the file has no time coordinate", where=name, got=", ".join(map(str, data.variables)),
        expected='a variable with standard_name "time" and units such as "days since 1970-01-01"',
    )  # fmt: skip


def _is_measured(data: Any, name: str, time: str) -> bool:
    variable = data[name]
    if not np.issubdtype(variable.dtype, np.number) or name == time or "cf_role" in variable.attrs:
        return False
    if {"sample_dimension", "instance_dimension", "flag_values", "flag_masks"} & set(variable.attrs):
        return False
    return bool(data[time].dims) and set(data[time].dims) <= set(variable.dims)


def _spread(
    data: Any, values: np.ndarray, of: tuple[Any, ...], dims: tuple[Any, ...], shape: tuple[int, ...]
) -> np.ndarray:
    """Give every element of a variable the value of a coordinate that has some of its dimensions."""
    order = sorted(range(len(of)), key=lambda i: dims.index(of[i]))
    values = np.transpose(np.asarray(values), order) if len(of) > 1 else np.asarray(values)
    wide = [shape[i] if d in of else 1 for i, d in enumerate(dims)]
    out: np.ndarray = np.broadcast_to(values.reshape(wide), shape).ravel()
    return out


def _text(values: Any) -> np.ndarray:
    return np.array(
        [
            v.decode("utf-8", "replace").strip() if isinstance(v, bytes) else _whole(v)
            for v in np.ravel(values)
        ],
        dtype=object,
    )


def _whole(value: Any) -> str:
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        return str(int(value))
    return str(value).strip()


def _stations(data: Any, dims: tuple[Any, ...], shape: tuple[int, ...], name: str) -> np.ndarray:
    """Station text of every value."""
    key = next((str(k) for k in data.variables if data[k].attrs.get("cf_role") in _ROLES[:1]), None)
    key = key or next(
        (str(k) for k in data.variables if str(k).lower() in ("station", "station_id", "station_name")), None
    )
    key = key or next((str(k) for k in data.variables if data[k].attrs.get("cf_role") in _ROLES), None)
    size = int(np.prod(shape))
    if key is None:
        text = str(data.attrs.get("station") or data.attrs.get("station_id") or data.attrs.get("id") or "")
        return np.full(size, text, dtype=object)
    names = _text(data[key].values)
    of = data[key].dims
    if not of:
        return np.full(size, names[0], dtype=object)
    if set(of) <= set(dims):
        return _spread(data, names.reshape(data[key].shape), of, dims, shape)
    for other in data.variables:
        attrs = data[other].attrs
        if "sample_dimension" in attrs and data[other].dims == of:
            counts = np.asarray(data[other].values, dtype=np.int64)
            return np.repeat(names, counts)[:size]
        if attrs.get("instance_dimension") in of:
            return names[np.asarray(data[other].values, dtype=np.int64)]
    raise RecipeError(
        "it is not clear which values belong to which station",
        where=name,
        got=f"{key} over {', '.join(map(str, of))}",
        expected="a station variable that shares a dimension with the values, or a CF ragged array",
    )
