"""Readings as CF NetCDF with discrete sampling geometries (CF conventions 1.11, chapter 9 and appendix H).

Two feature types, one file each: ``timeSeries`` for what is read at one depth (contiguous ragged arrays,
H.2.4) and ``timeSeriesProfile`` for profiles (ragged arrays, H.5.3). Quality flags are ancillary
variables with the QARTOD values; qualifiers are ancillary too, so that ``>`` and ``<`` survive.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from fathomlight.errors import ArgumentError, UnreadableFileError
from fathomlight.export.safely import write_safely
from fathomlight.model import ABOVE, BELOW, EQUAL, READING_COLUMNS, Flag, Parameter, Station

_QUALIFIER_CODES = {EQUAL: 0, BELOW: 1, ABOVE: 2}
_UDUNITS = {
    "m": "m",
    "cm": "cm",
    "degC": "degree_Celsius",
    "ug/L": "ug L-1",
    "mg/L": "mg L-1",
    "%": "percent",
    "uS/cm": "uS cm-1",
    "umol/m2/s": "umol m-2 s-1",
    "NTU": "1",
    "FNU": "1",
}
_FILL = -127


def write_series(
    readings: pd.DataFrame,
    path: Path,
    *,
    stations: Mapping[str, Station],
    parameters: Mapping[str, Parameter],
    title: str,
    comment: str = "",
) -> Path:
    """Write readings taken at one depth as a CF ``timeSeries`` file.

    Parameters
    ----------
    readings : pandas.DataFrame
        :data:`~fathomlight.model.READING_COLUMNS`.
    path : pathlib.Path
        The file to write.
    stations, parameters : mapping
        By id and by name; every one that occurs in ``readings`` must be there.
    title, comment : str
        Global attributes.

    Returns
    -------
    pathlib.Path
        ``path``, whole.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No readings, or one of an unknown station or parameter.
    """
    _check(readings, stations, parameters)
    keys = ["station", "time", "depth_m", "replicate"]
    wide = _wide(readings, keys)
    names = sorted(readings["parameter"].unique())
    ids = list(dict.fromkeys(wide["station"]))
    data = _station_variables(ids, stations)
    data["rows"] = (
        "station",
        wide.groupby("station", sort=False).size().to_numpy(dtype=np.int32),
        {"long_name": "number of readings of this station", "sample_dimension": "obs"},
    )
    data["time"] = ("obs", _seconds(wide["time"]), _TIME)
    data["depth"] = ("obs", wide["depth_m"].to_numpy(), _DEPTH)
    data["replicate"] = (
        "obs",
        wide["replicate"].to_numpy(dtype=np.int32),
        {"long_name": "replicate, from 1"},
    )
    for name in names:
        data.update(_parameter_variables(name, wide, parameters[name], "obs"))
    dataset = xr.Dataset(data, attrs=_global(readings, stations, "timeSeries", title, comment))
    return _write(dataset, path)


def write_profiles(
    readings: pd.DataFrame,
    path: Path,
    *,
    stations: Mapping[str, Station],
    parameters: Mapping[str, Parameter],
    title: str,
    comment: str = "",
) -> Path:
    """Write profiles as a CF ``timeSeriesProfile`` file; see :func:`write_series` for the arguments.

    Parameters
    ----------
    readings : pandas.DataFrame
        :data:`~fathomlight.model.READING_COLUMNS`, of parameters read at several depths.
    path : pathlib.Path
        The file to write.
    stations, parameters : mapping
        By id and by name.
    title, comment : str
        Global attributes.

    Returns
    -------
    pathlib.Path
        ``path``, whole.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No readings, or one of an unknown station or parameter.
    """
    _check(readings, stations, parameters)
    wide = _wide(readings, ["station", "time", "replicate", "depth_m"])
    casts = wide.groupby(["station", "time", "replicate"], sort=False).size().reset_index(name="rows")
    ids = list(dict.fromkeys(wide["station"]))
    position = {station: i for i, station in enumerate(ids)}
    data = _station_variables(ids, stations)
    data["station_index"] = (
        "profile",
        casts["station"].map(position).to_numpy(dtype=np.int32),
        {"long_name": "which station this profile is for", "instance_dimension": "station"},
    )
    data["rows"] = (
        "profile",
        casts["rows"].to_numpy(dtype=np.int32),
        {"long_name": "number of depths of this profile", "sample_dimension": "obs"},
    )
    data["profile_number"] = (
        "profile",
        np.arange(1, len(casts) + 1, dtype=np.int32),
        {"long_name": "number of the profile"},
    )
    data["replicate"] = (
        "profile",
        casts["replicate"].to_numpy(dtype=np.int32),
        {"long_name": "replicate, from 1"},
    )
    data["time"] = ("profile", _seconds(casts["time"]), _TIME)
    data["depth"] = ("obs", wide["depth_m"].to_numpy(), _DEPTH)
    for name in sorted(readings["parameter"].unique()):
        data.update(_parameter_variables(name, wide, parameters[name], "obs"))
    dataset = xr.Dataset(data, attrs=_global(readings, stations, "timeSeriesProfile", title, comment))
    return _write(dataset, path)


def read_netcdf(path: Path) -> pd.DataFrame:
    """Read a file written by :func:`write_series` or :func:`write_profiles` back into a table of readings.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Returns
    -------
    pandas.DataFrame
        station, parameter, depth_m, time, replicate, value, qualifier, flag; sorted by identity.

    Raises
    ------
    fathomlight.errors.UnreadableFileError
        Not such a file.
    """
    with xr.open_dataset(path, engine="h5netcdf", decode_times=False, mask_and_scale=False) as opened:
        dataset = opened.load()
    kind = dataset.attrs.get("featureType")
    if kind not in {"timeSeries", "timeSeriesProfile"}:
        raise UnreadableFileError(
            "not a file of readings",
            where=str(path),
            got=kind,
            expected="featureType timeSeries or timeSeriesProfile",
        )
    ids = np.array([_text(v) for v in dataset["station_name"].to_numpy()], dtype=object)
    rows = dataset["rows"].to_numpy()
    if kind == "timeSeries":
        station, time = np.repeat(ids, rows), dataset["time"].to_numpy()
        replicate = dataset["replicate"].to_numpy()
    else:
        station = np.repeat(ids[dataset["station_index"].to_numpy()], rows)
        time = np.repeat(dataset["time"].to_numpy(), rows)
        replicate = np.repeat(dataset["replicate"].to_numpy(), rows)
    codes = {code: text for text, code in _QUALIFIER_CODES.items()}
    parts = []
    for name in [n.removesuffix("_flag") for n in map(str, dataset.data_vars) if n.endswith("_flag")]:
        flag = dataset[f"{name}_flag"].to_numpy()
        kept = flag != _FILL
        parts.append(
            pd.DataFrame(
                {
                    "station": station[kept],
                    "parameter": name,
                    "depth_m": dataset["depth"].to_numpy()[kept],
                    "time": pd.to_datetime(time[kept], unit="s", utc=True).as_unit("us"),
                    "replicate": replicate[kept],
                    "value": dataset[name].to_numpy()[kept],
                    "qualifier": [codes[c] for c in dataset[f"{name}_qualifier"].to_numpy()[kept]],
                    "flag": flag[kept],
                }
            )
        )
    types = {k: v for k, v in READING_COLUMNS.items() if k in parts[0].columns and k != "time"}
    table = pd.concat(parts, ignore_index=True).astype(types)
    return table.sort_values(["station", "parameter", "depth_m", "time", "replicate"], ignore_index=True)


_TIME = {
    "standard_name": "time",
    "long_name": "time of the reading",
    "units": "seconds since 1970-01-01T00:00:00Z",
    "calendar": "standard",
    "units_metadata": "leap_seconds: none",
    "axis": "T",
}
_DEPTH = {
    "standard_name": "depth",
    "long_name": "depth below the surface",
    "units": "m",
    "positive": "down",
    "axis": "Z",
}


def _check(
    readings: pd.DataFrame, stations: Mapping[str, Station], parameters: Mapping[str, Parameter]
) -> None:
    if readings.empty:
        raise ArgumentError("readings", "there is nothing to export", got="no readings")
    for column, known in (("station", stations), ("parameter", parameters)):
        stray = sorted(set(readings[column].unique()) - set(known))
        if stray:
            raise ArgumentError(
                "readings", f"an unknown {column}", got=stray, expected=f"some of {sorted(known)}"
            )


def _wide(readings: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    table = readings.assign(qualifier=readings["qualifier"].map(_QUALIFIER_CODES).astype("int8"))
    wide = table.pivot(index=keys, columns="parameter", values=["value", "qualifier", "flag"])
    wide.columns = [":".join(map(str, column)) for column in wide.columns]
    return wide.sort_index().reset_index()


def _station_variables(ids: list[str], stations: Mapping[str, Station]) -> dict[str, Any]:
    chosen = [stations[i] for i in ids]
    return {
        "station_name": (
            "station",
            np.array(ids, dtype=object),
            {"cf_role": "timeseries_id", "long_name": "station"},
        ),
        "station_label": (
            "station",
            np.array([s.name for s in chosen], dtype=object),
            {"long_name": "name of the station"},
        ),
        "water": (
            "station",
            np.array([s.water for s in chosen], dtype=object),
            {"long_name": "water of the station"},
        ),
        "latitude": (
            "station",
            np.array([s.latitude for s in chosen]),
            {"standard_name": "latitude", "long_name": "latitude of the station", "units": "degrees_north"},
        ),
        "longitude": (
            "station",
            np.array([s.longitude for s in chosen]),
            {"standard_name": "longitude", "long_name": "longitude of the station", "units": "degrees_east"},
        ),
    }


def _seconds(times: pd.Series) -> np.ndarray[Any, Any]:
    utc = pd.DatetimeIndex(times).tz_convert("UTC").tz_localize(None).to_numpy("datetime64[us]")
    return utc.astype("int64") / 1e6


def _parameter_variables(name: str, wide: pd.DataFrame, parameter: Parameter, dim: str) -> dict[str, Any]:
    value = wide[f"value:{name}"].to_numpy(dtype=float)
    present = np.isfinite(value)
    flag = np.where(present, wide[f"flag:{name}"].fillna(_FILL), _FILL).astype(np.int8)
    qualifier = np.where(present, wide[f"qualifier:{name}"].fillna(_FILL), _FILL).astype(np.int8)
    attrs = {
        "long_name": parameter.label,
        "units": _UDUNITS.get(parameter.unit, "1"),
        "coordinates": "time depth latitude longitude station_name",
        "ancillary_variables": f"{name}_flag {name}_qualifier",
        "_FillValue": np.nan,
    }
    if parameter.unit == "degC":
        attrs["units_metadata"] = "temperature: on_scale"
    if parameter.standard_name:
        attrs["standard_name"] = parameter.standard_name
        if "sea_water" in parameter.standard_name:
            attrs["comment"] = (
                "fresh water; the CF standard name table has no name of its own for lakes and rivers"
            )
    if attrs["units"] == "1":
        attrs["comment"] = (
            f"values in {parameter.unit}; {attrs.get('comment', 'not convertible between optics')}"
        )
    return {
        name: (dim, value, attrs),
        f"{name}_flag": (
            dim,
            flag,
            {
                "long_name": f"quality flag of {parameter.label}",
                "standard_name": "aggregate_quality_flag",
                "flag_values": np.array([int(f) for f in Flag], dtype=np.int8),
                "flag_meanings": "pass not_evaluated suspect fail missing",
                "_FillValue": np.int8(_FILL),
                "references": "QARTOD; IOC Manuals and Guides 54, volume 3 (2013)",
            },
        ),
        f"{name}_qualifier": (
            dim,
            qualifier,
            {
                "long_name": f"qualifier of {parameter.label}",
                "flag_values": np.array([0, 1, 2], dtype=np.int8),
                "flag_meanings": "equal below_the_value above_the_value",
                "_FillValue": np.int8(_FILL),
                "comment": "above_the_value: disc seen on the bottom; below_the_value: below detection",
            },
        ),
    }


def _global(
    readings: pd.DataFrame, stations: Mapping[str, Station], feature: str, title: str, comment: str
) -> dict[str, Any]:
    used = [stations[i] for i in readings["station"].unique()]
    return {
        "Conventions": "CF-1.11",
        "featureType": feature,
        "title": title,
        "institution": "written by Fathomlight",
        "source": "readings by crews, volunteers and loggers",
        "history": f"{dt.datetime.now(dt.UTC):%Y-%m-%dT%H:%M:%SZ} written by Fathomlight",
        "references": "CF conventions 1.11, appendix H",
        "comment": comment or "clarity says nothing about safety to swim or drink",
        "geospatial_lat_min": min(s.latitude for s in used),
        "geospatial_lat_max": max(s.latitude for s in used),
        "geospatial_lon_min": min(s.longitude for s in used),
        "geospatial_lon_max": max(s.longitude for s in used),
        "time_coverage_start": readings["time"].min().isoformat(),
        "time_coverage_end": readings["time"].max().isoformat(),
    }


def _write(dataset: xr.Dataset, path: Path) -> Path:
    def write(temporary: Path) -> None:
        encoding = {
            str(n): {"_FillValue": None} for n in dataset.variables if "_FillValue" not in dataset[n].attrs
        }
        dataset.to_netcdf(temporary, engine="h5netcdf", encoding=encoding)

    def verify(temporary: Path) -> None:
        with xr.open_dataset(temporary, engine="h5netcdf", decode_times=False, mask_and_scale=False) as again:
            for name in dataset.variables:
                mine, theirs = dataset[name].to_numpy(), again[name].to_numpy()
                same = (
                    np.array_equal(mine, theirs, equal_nan=True)
                    if mine.dtype.kind in "fiu"
                    else [_text(v) for v in mine] == [_text(v) for v in theirs]
                )
                if not same:
                    raise UnreadableFileError(
                        "the file read back differs from what was written", where=str(name)
                    )

    return write_safely(Path(path), write, verify)


def _text(value: Any) -> str:
    return value.decode("utf-8") if isinstance(value, bytes) else str(value)
