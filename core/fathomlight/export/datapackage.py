"""Readings as CSV with a Frictionless Data Package beside it (Data Package standard, version 2).

The CSV can be opened by anything; ``datapackage.json`` says what each column is, in which unit, and what the
qualifiers and flags mean. Text cells are escaped so that a spreadsheet program does not run them as formulas.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from fathomlight.cells import escape_cell
from fathomlight.errors import ArgumentError
from fathomlight.export.safely import write_safely
from fathomlight.model import QUALIFIERS, Flag, Parameter, Station

COLUMNS = (
    "station",
    "parameter",
    "depth_m",
    "time",
    "local_date",
    "replicate",
    "qualifier",
    "value",
    "unit",
    "flag",
    "original_value",
    "original_unit",
    "method",
)
"""Columns of the CSV. Notes and observers' names stay at home."""

_FIELDS: Mapping[str, dict[str, Any]] = {
    "station": {"type": "string", "constraints": {"required": True}, "description": "id of the station"},
    "parameter": {"type": "string", "constraints": {"required": True}, "description": "what was measured"},
    "depth_m": {
        "type": "number",
        "constraints": {"minimum": 0},
        "description": "depth below the surface [m]",
    },
    "time": {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z", "description": "instant, UTC"},
    "local_date": {"type": "date", "description": "day at the station"},
    "replicate": {"type": "integer", "constraints": {"minimum": 1}, "description": "replicate, from 1"},
    "qualifier": {
        "type": "string",
        "constraints": {"enum": list(QUALIFIERS)},
        "description": "= measured; < below the value (detection limit); > above it (disc on the bottom)",
    },
    "value": {"type": "number", "description": "value in the unit beside it"},
    "unit": {"type": "string", "description": "canonical unit"},
    "flag": {
        "type": "integer",
        "constraints": {"enum": [int(f) for f in Flag]},
        "description": "1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing (QARTOD)",
    },
    "original_value": {"type": "string", "description": "value as it was written"},
    "original_unit": {"type": "string", "description": "unit as it was written"},
    "method": {"type": "string", "description": "how it was measured"},
}


def write_datapackage(
    readings: pd.DataFrame,
    folder: Path,
    *,
    stations: Mapping[str, Station],
    parameters: Mapping[str, Parameter],
    name: str,
    title: str,
) -> Path:
    """Write ``readings.csv``, ``stations.csv`` and ``datapackage.json`` into a folder.

    Parameters
    ----------
    readings : pandas.DataFrame
        :data:`~fathomlight.model.READING_COLUMNS`.
    folder : pathlib.Path
        Made when missing.
    stations, parameters : mapping
        By id and by name.
    name : str
        Short name of the package: lower case, digits, ``-``.
    title : str
        For people.

    Returns
    -------
    pathlib.Path
        The ``datapackage.json``.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No readings.
    """
    if readings.empty:
        raise ArgumentError("readings", "there is nothing to export", got="no readings")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    table = _readings_table(readings, parameters)
    places = _stations_table([stations[s] for s in readings["station"].unique()])
    write_safely(folder / "readings.csv", lambda p: table.to_csv(p, index=False, lineterminator="\n"))
    write_safely(folder / "stations.csv", lambda p: places.to_csv(p, index=False, lineterminator="\n"))
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": name,
        "title": title,
        "description": "Clarity says nothing about safety to swim or drink.",
        "resources": [
            _resource(
                folder / "readings.csv",
                [{"name": c, **_FIELDS[c]} for c in COLUMNS],
                {
                    "foreignKeys": [
                        {"fields": ["station"], "reference": {"resource": "stations", "fields": ["id"]}}
                    ]
                },
            ),
            _resource(
                folder / "stations.csv",
                [
                    {"name": "id", "type": "string", "constraints": {"required": True, "unique": True}},
                    {"name": "name", "type": "string"},
                    {"name": "water", "type": "string"},
                    {"name": "latitude", "type": "number"},
                    {"name": "longitude", "type": "number"},
                    {"name": "timezone", "type": "string"},
                ],
                {"primaryKey": ["id"]},
            ),
        ],
    }
    text = json.dumps(package, indent=2, ensure_ascii=False) + "\n"
    return write_safely(folder / "datapackage.json", lambda p: p.write_text(text, encoding="utf-8"))


def _readings_table(readings: pd.DataFrame, parameters: Mapping[str, Parameter]) -> pd.DataFrame:
    table = pd.DataFrame(index=readings.index)
    for column in COLUMNS:
        if column == "unit":
            table[column] = readings["parameter"].map({k: p.unit for k, p in parameters.items()})
        elif column == "time":
            table[column] = readings["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
        elif column == "local_date":
            table[column] = readings["local_date"].dt.strftime("%Y-%m-%d")
        elif column in {"station", "method", "original_value", "original_unit"}:
            table[column] = readings[column].map(escape_cell)
        else:
            table[column] = readings[column]
    return table


def _stations_table(stations: list[Station]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "id": escape_cell(s.id),
                "name": escape_cell(s.name),
                "water": escape_cell(s.water),
                "latitude": s.latitude,
                "longitude": s.longitude,
                "timezone": s.timezone,
            }
            for s in stations
        ]
    )


def _resource(path: Path, fields: list[dict[str, Any]], extra: dict[str, Any]) -> dict[str, Any]:
    content = path.read_bytes()
    return {
        "name": path.stem,
        "type": "table",
        "path": path.name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
        "schema": {"fields": fields, **extra},
    }
