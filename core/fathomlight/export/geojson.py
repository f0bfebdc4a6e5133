"""Stations with their standing as GeoJSON (RFC 7946)."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.export.safely import write_safely
from fathomlight.model import plain


def write_geojson(standings: pd.DataFrame, path: Path, *, title: str) -> Path:
    """Write one point a station.

    Parameters
    ----------
    standings : pandas.DataFrame
        One row a station with ``latitude`` and ``longitude`` [degrees]; all other columns become properties.
    path : pathlib.Path
        The file to write.
    title : str
        For people.

    Returns
    -------
    pathlib.Path
        ``path``.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No stations.
    """
    if standings.empty:
        raise ArgumentError("standings", "there is nothing to export", got="no stations")
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(row.pop("longitude"), 7), round(row.pop("latitude"), 7)],
            },
            "properties": row,
        }
        for row in plain(standings)
    ]
    collection = {"type": "FeatureCollection", "title": title, "features": features}
    text = json.dumps(collection, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return write_safely(Path(path), lambda p: p.write_text(text, encoding="utf-8"))
