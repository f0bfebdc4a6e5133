"""Large sets as Parquet (any tool) and Zarr (season cubes, station by station, for a cluster)."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import xarray as xr

from fathomlight.errors import ArgumentError, MissingExtraError
from fathomlight.export.safely import write_safely


def write_parquet(readings: pd.DataFrame, path: Path) -> Path:
    """Write readings as one Parquet file (zstd), all columns but the notes.

    Parameters
    ----------
    readings : pandas.DataFrame
        :data:`~fathomlight.model.READING_COLUMNS`.
    path : pathlib.Path
        The file to write.

    Returns
    -------
    pathlib.Path
        ``path``.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No readings.
    """
    if readings.empty:
        raise ArgumentError("readings", "there is nothing to export", got="no readings")
    table = pa.Table.from_pandas(
        readings.drop(columns=["note", "batch"], errors="ignore"), preserve_index=False
    )

    def verify(temporary: Path) -> None:
        if pq.read_metadata(temporary).num_rows != table.num_rows:
            raise OSError("the Parquet file read back is shorter than what was written")

    return write_safely(Path(path), lambda p: pq.write_table(table, p, compression="zstd"), verify)


def write_zarr(cube: xr.DataArray | xr.Dataset, path: Path, *, stations_per_chunk: int = 500) -> Path:
    """Write a season cube (station, year, season) as Zarr, chunked by station only.

    Parameters
    ----------
    cube : xarray.DataArray or xarray.Dataset
        With a dimension ``station``; every chunk holds whole records of its stations.
    path : pathlib.Path
        The folder to write; it must not exist.
    stations_per_chunk : int
        Stations in one chunk.

    Returns
    -------
    pathlib.Path
        ``path``.

    Raises
    ------
    fathomlight.errors.MissingExtraError
        The extra ``distributed`` is not installed.
    fathomlight.errors.ArgumentError
        The folder exists.
    """
    try:
        import zarr  # noqa: F401
    except ImportError:
        raise MissingExtraError("zarr", "distributed", "Writing Zarr") from None
    path = Path(path)
    if path.exists():
        raise ArgumentError("path", "the folder is there already", got=str(path), fix="Choose another name.")
    dataset = cube.to_dataset(name=cube.name or "value") if isinstance(cube, xr.DataArray) else cube
    chunks = {d: (min(stations_per_chunk, n) if d == "station" else n) for d, n in dataset.sizes.items()}
    encoding = {str(n): {"chunks": tuple(chunks[d] for d in v.dims)} for n, v in dataset.data_vars.items()}
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=f".{path.name}-") as folder:
        temporary = Path(folder) / path.name
        dataset.to_zarr(temporary, encoding=encoding, zarr_format=3, consolidated=False)
        shutil.move(str(temporary), str(path))
    return path
