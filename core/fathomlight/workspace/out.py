"""What the workspace holds, and what leaves it: status, exports, templates, values as people read them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import Flag, Result
from fathomlight.workspace.adding import Adding
from fathomlight.workspace.attention import Attention
from fathomlight.workspace.fishing import Fishing


@dataclass(frozen=True, kw_only=True)
class StatusReport(Result):
    """What a workspace holds.

    Attributes
    ----------
    name : str
        The workspace.
    as_of : str
        The day taken as today.
    n_readings, n_stations, n_surveys, n_refused, n_open : int
        Readings in force, stations with readings, fish surveys, refused rows of batches in force, open episodes.
    first, last : str
        Days of the first and last reading.
    flags : dict of str to int
        Readings by flag.
    parameters : pandas.DataFrame
        One row a parameter: stations, readings, first, last.
    batches : pandas.DataFrame
        See :meth:`fathomlight.workspace.Workspace.batches`.
    data_version : int
        Of the store.
    notes : tuple of str
        What to look at.
    sentence : str
        The same in a sentence.
    """

    name: str
    as_of: str
    n_readings: int
    n_stations: int
    n_surveys: int
    n_refused: int
    n_open: int
    first: str
    last: str
    flags: dict[str, int]
    parameters: pd.DataFrame
    batches: pd.DataFrame
    data_version: int
    notes: tuple[str, ...]
    sentence: str


class Out(Attention, Adding, Fishing):
    """Status, exports, templates."""

    def status(self) -> StatusReport:
        """Say what the workspace holds.

        Returns
        -------
        StatusReport
            Counts, batches, flags, notes.
        """
        counts = self.counts()
        batches = self.batches()
        flags = self.store.readings(columns=["flag"])["flag"].value_counts()
        table = counts.groupby("parameter", as_index=False).agg(
            stations=("station", "nunique"),
            readings=("n", "sum"),
            first=("first", "min"),
            last=("last", "max"),
        )
        refused = len(self.refused())
        episodes = self.episodes()
        n_open = int((episodes["state"] == "open").sum())
        n, stations = int(counts["n"].sum()), int(counts["station"].nunique())
        first = f"{counts['first'].min():%Y-%m-%d}" if n else ""
        last = f"{counts['last'].max():%Y-%m-%d}" if n else ""
        notes = []
        silent = sorted(set(self.stations) - set(counts["station"]))
        if silent:
            notes.append(f"no readings yet: {', '.join(silent)}")
        if refused:
            notes.append(f"{refused} refused rows wait to be put right (page Check readings)")
        surveys = len(self.surveys())
        span = f", {first} to {last}" if n else ""
        return StatusReport(
            name=self.name,
            as_of=self.as_of.isoformat(),
            n_readings=n,
            n_stations=stations,
            n_surveys=surveys,
            n_refused=refused,
            n_open=n_open,
            first=first,
            last=last,
            flags={
                Flag(int(str(k))).name.lower().replace("_", " "): int(v) for k, v in sorted(flags.items())
            },
            parameters=table,
            batches=batches,
            data_version=self.data_version,
            notes=tuple(notes),
            sentence=f"{self.name}: {n} readings at {stations} stations{span}; {surveys} fish surveys; "
            f"{n_open} open episodes.",
        )

    def export(
        self, kind: str, path: str | Path, *, parameter: str | None = None, station: str | None = None
    ) -> list[Path]:
        """Write readings or answers as files.

        Parameters
        ----------
        kind : {"netcdf", "csv", "geojson", "parquet", "zarr", "darwin-core"}
            netcdf: a folder with series.nc and profiles.nc (CF 1.11); csv: a folder with a data package; geojson:
            stations with their standing; parquet: one file of readings; zarr: season cells as a cube;
            darwin-core: a folder with fish surveys as sampling events.
        path : str or pathlib.Path
            File or folder.
        parameter, station : str, optional
            Only these.

        Returns
        -------
        list of pathlib.Path
            What was written, whole.

        Raises
        ------
        fathomlight.errors.ArgumentError
            An unknown kind, or nothing to write.
        """
        from fathomlight import export

        path = Path(path)
        if kind == "geojson":
            name = parameter or "secchi"
            table = self.standings(name)
            if station is not None:
                table = table[table["station"] == self.station(station).id]
            return [export.write_geojson(table, path, title=f"{self.name}: stations and how {name} stands")]
        if kind == "zarr":
            from fathomlight.seasons import season_cube

            return [export.write_zarr(season_cube(self.season_cells(station, parameter or "secchi")), path)]
        if kind == "darwin-core":
            surveys = self.surveys()
            if station is not None:
                surveys = surveys[surveys["station"] == self.station(station).id]
            return export.write_darwin_core(
                surveys, self.catches(), path, stations=self.stations, waters=self.waters
            )
        readings = self.readings(station, parameter)
        if kind == "parquet":
            return [export.write_parquet(readings, path)]
        if kind == "csv":
            return [export.write_datapackage(
                readings, path, stations=self.stations, parameters=self.parameters, name="readings",
                title=self.name,
            )]  # fmt: skip
        if kind == "netcdf":
            return self._export_netcdf(readings, path)
        raise ArgumentError(
            "kind", "no such export", got=kind, expected="netcdf, csv, geojson, parquet, zarr or darwin-core"
        )

    def _export_netcdf(self, readings: pd.DataFrame, folder: Path) -> list[Path]:
        from fathomlight import export

        if readings.empty:
            raise ArgumentError("readings", "there is nothing to export", got="no readings")
        profiled = (
            readings["parameter"].map({p.name: p.profile for p in self.parameters.values()}).astype(bool)
        )
        written = []
        settings: dict[str, Any] = {
            "stations": self.stations,
            "parameters": self.parameters,
            "title": self.name,
        }
        if (~profiled).any():
            written.append(export.write_series(readings[~profiled], folder / "series.nc", **settings))
        if profiled.any():
            written.append(export.write_profiles(readings[profiled], folder / "profiles.nc", **settings))
        return written

    def write_template(self, path: str | Path) -> Path:
        """Write an empty workbook (``.xlsx``) or a field sheet to print (``.html``) for these stations."""
        from fathomlight.ingest import write_template

        target = Path(path)
        kinds: dict[str, Literal["xlsx", "html"]] = {".xlsx": "xlsx", ".html": "html"}
        if target.suffix not in kinds:
            raise ArgumentError("path", "a template is .xlsx or .html", got=target.name)
        return write_template(
            target, list(self.stations.values()), self.parameters, fmt=kinds[target.suffix], units=self.units
        )

    def network_trends(
        self,
        parameter: str = "secchi",
        *,
        start: int | None = None,
        end: int | None = None,
        scheduler: str | None = None,
    ) -> pd.DataFrame:
        """Compute the trends of all stations with the network kernel, on a Dask cluster when one is named.

        Parameters
        ----------
        parameter : str
            Name.
        start, end : int, optional
            First and last year.
        scheduler : str, optional
            Address of a Dask scheduler; computed in this process when left out.

        Returns
        -------
        pandas.DataFrame
            One row a station: s, variance, z, p, slope with limits, p_adjusted.
        """
        from fathomlight.workspace.network import run_network

        cells = self.season_cells(None, self.parameter(parameter).name)
        return run_network(cells, start, end, scheduler)


__all__ = ["Out", "StatusReport"]
