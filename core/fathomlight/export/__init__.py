"""Readings and answers as files that a colleague can open in ten years.

Every writer writes to a temporary file beside the target, reads it back, compares, and only then renames:
a file with the final name is whole.
"""

from __future__ import annotations

from fathomlight.export.columnar import write_parquet, write_zarr
from fathomlight.export.darwincore import write_darwin_core
from fathomlight.export.datapackage import write_datapackage
from fathomlight.export.geojson import write_geojson
from fathomlight.export.netcdf import read_netcdf, write_profiles, write_series

__all__ = [
    "read_netcdf",
    "write_darwin_core",
    "write_datapackage",
    "write_geojson",
    "write_parquet",
    "write_profiles",
    "write_series",
    "write_zarr",
]
