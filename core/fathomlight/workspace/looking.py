"""Readings as series and profiles; season cells; a station against its own past."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.model import MEASURED, USED_FLAGS, Parameter, plain
from fathomlight.seasons import cells_by_station, season_cells, standing
from fathomlight.seasons import envelope as past_envelope
from fathomlight.units import System, display_units, format_value, to_display_difference
from fathomlight.workspace.base import Base

if TYPE_CHECKING:
    import xarray as xr

    from fathomlight.seasons import StandingResult

SURFACE_M = (0.0, 1.0)
"""Depths counted as the surface [m]."""

_SHORT, _AT_ONCE = 20_000, 300_000


class Looking(Base):
    """What was read, and how the latest reading stands."""

    def readings(
        self,
        station: str | list[str] | None = None,
        parameter: str | list[str] | None = None,
        *,
        start: Any = None,
        end: Any = None,
        depth: float | tuple[float, float] | None = None,
        flags: tuple[int, ...] | None = None,
        columns: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return readings in force.

        Parameters
        ----------
        station, parameter : str or list of str, optional
            All when left out.
        start, end : time-like, optional
            First and last instant; without a zone they are UTC.
        depth : float or (float, float), optional
            Depth, or range of depths [m].
        flags : tuple of int, optional
            Only these flags; all when left out.
        columns : sequence of str, optional
            Only these columns: faster and smaller.

        Returns
        -------
        pandas.DataFrame
            :data:`~fathomlight.model.READING_COLUMNS`; units in ``.attrs["units"]`` by parameter.
        """
        ids = None if station is None else [self.station(s).id for s in _listed(station)]
        names = None if parameter is None else [self.parameter(p).name for p in _listed(parameter)]
        table = self.store.readings(
            station=ids, parameter=names, start=start, end=end, depth=depth, flags=flags, columns=columns
        )
        table.attrs["units"] = {p: self.parameters[p].unit for p in names or self.parameters}
        return table

    def counts(self) -> pd.DataFrame:
        """Return how many readings each station has of each parameter, first and last instant."""
        return self.remember(("counts",), self.store.counts)

    def parameters_at(self, station: str) -> list[str]:
        """Return the parameters that have readings at a station, in the order of the configuration."""
        counts = self.counts()
        there = set(counts.loc[counts["station"] == self.station(station).id, "parameter"])
        return [p for p in self.parameters if p in there]

    def series(
        self, station: str, parameter: str = "secchi", columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Return one parameter at one station at the surface, all flags, oldest first.

        Parameters
        ----------
        station, parameter : str
            Id (or name), name.
        columns : sequence of str, optional
            Only these columns, such as :data:`fathomlight.model.MEASURED`: faster and smaller.

        Returns
        -------
        pandas.DataFrame
            :data:`~fathomlight.model.READING_COLUMNS`, up to the day taken as today.
        """
        where, what = self.station(station).id, self.parameter(parameter)

        def make() -> pd.DataFrame:
            depth = SURFACE_M if what.profile else None
            # as the store gives it: sorted by time, depth and replicate
            return self.readings(where, what.name, end=self._tonight(), depth=depth, columns=columns)

        return self.remember(_series_key(where, what.name, columns), make)

    def _surface(self, station: str, parameter: str) -> pd.DataFrame:
        return self.series(station, parameter, columns=MEASURED)

    def _short(self, parameter: Parameter) -> list[str]:
        """Return the stations with short series of a parameter; none where they are too much to hold at once."""
        counts = self.counts()
        short = counts[(counts["parameter"] == parameter.name) & (counts["n"] <= _SHORT)]
        return list(short["station"]) if int(short["n"].sum()) <= _AT_ONCE else []

    def _fetch(self, parameter: Parameter) -> None:
        """Read the short series of a parameter at once: one question to the store rather than one a station."""
        version = self.data_version
        wanted = [
            s for s in self._short(parameter) if not self.remembered(_series_key(s, parameter.name, MEASURED))
        ]
        if len(wanted) < 2:
            return
        depth = SURFACE_M if parameter.profile else None
        table = self.readings(
            wanted, parameter.name, end=self._tonight(), depth=depth, columns=("station", *MEASURED)
        )
        units, table.attrs = table.attrs, {}  # else copied at every step
        row_bytes = int(table.memory_usage(index=False).sum()) // max(len(table), 1)
        made = {}
        for station, part in table.groupby("station", sort=False, observed=True):
            rows = part[list(MEASURED)].reset_index(drop=True)
            rows.attrs = units
            made[_series_key(str(station), parameter.name, MEASURED)] = (rows, len(rows) * row_bytes)
        self._keep(version, made)

    def _fetch_cells(self, parameter: Parameter) -> None:
        """Reduce the short series of a parameter to season cells at once, for who asks for all stations."""
        self._fetch(parameter)
        version = self.data_version
        wanted = [
            s for s in self._short(parameter) if not self.remembered(("cells", s, parameter.name, self.as_of))
        ]
        if len(wanted) < 2:
            return
        table = pd.concat(
            [self._surface(s, parameter.name).assign(station=s) for s in wanted], ignore_index=True
        )
        made = cells_by_station(table.assign(parameter=parameter.name), self.seasons)
        self._keep(
            version,
            {
                ("cells", s, parameter.name, self.as_of): (cells, len(cells) * 150)
                for s, cells in made.items()
            },
        )

    def _tonight(self) -> pd.Timestamp:
        return pd.Timestamp(self.as_of, tz="UTC") + pd.Timedelta(days=2)

    def profile(self, station: str, parameter: str = "temperature") -> xr.Dataset:
        """Return the profiles of a parameter at a station as a grid of visits and depths.

        Parameters
        ----------
        station, parameter : str
            Id (or name), name.

        Returns
        -------
        xarray.Dataset
            Dims ``time`` (UTC, without zone) and ``depth_m``; NaN where nothing was read; used flags only;
            attributes ``units`` and ``standard_name``.
        """
        where, what = self.station(station).id, self.parameter(parameter)

        def make() -> xr.Dataset:
            import xarray as xr

            table = self.readings(where, what.name, flags=tuple(USED_FLAGS), end=self._tonight())
            wide = table.pivot_table(index="time", columns="depth_m", values="value", aggfunc="mean")
            attrs = {"units": what.unit, "long_name": what.label}
            if what.standard_name:
                attrs["standard_name"] = what.standard_name
            index = pd.DatetimeIndex(wide.index) if len(wide) else pd.DatetimeIndex([], tz="UTC")
            return xr.Dataset(
                {what.name: (("time", "depth_m"), wide.to_numpy(dtype=float).reshape(len(index), -1), attrs)},
                coords={
                    "time": index.tz_convert("UTC").tz_localize(None),
                    "depth_m": (
                        "depth_m",
                        np.asarray(wide.columns, dtype=float),
                        {"units": "m", "positive": "down"},
                    ),
                },
                attrs={"station": where, "Conventions": "CF-1.11"},
            )

        return self.remember(("profile", where, what.name), make)

    def show_value(self, parameter: str, value: float, units: System | None = None) -> str:
        """Write a value with its unit, in units of this workspace or others, at the precision of the measurement."""
        what, shown = self.parameter(parameter), units or self.units
        decimals = what.decimals if shown == "metric" else None
        return format_value(value, what.unit, shown, decimals=decimals)

    def show_change(self, parameter: str, value: float, units: System | None = None) -> str:
        """Write a difference or a slope with sign and unit, in units of this workspace or others."""
        what, wanted = self.parameter(parameter), units or self.units
        shown = float(to_display_difference(value, what.unit, wanted))
        return f"{shown:+.{what.decimals + 1}f} {display_units(wanted)[what.unit].unit}"

    # -- a station against its own past -------------------------------------------------------------------

    def _past_settings(self, parameter: Parameter) -> dict[str, Any]:
        return {
            **self.config.standing.model_dump(),
            "as_of": self.as_of,
            "clearer": parameter.clearer or "higher",
        }

    def standing(self, station: str, parameter: str = "secchi") -> StandingResult:
        """Say how the latest reading stands against the station's own past for the time of year.

        Parameters
        ----------
        station, parameter : str
            Id (or name), name.

        Returns
        -------
        fathomlight.seasons.StandingResult
            One of five standings, the counts behind it, and a sentence.
        """
        where, what = self.station(station), self.parameter(parameter)
        return self.remember(
            ("standing", where.id, what.name, self.as_of),
            lambda: standing(
                self._surface(where.id, what.name),
                schedule_days=where.schedule_days,
                unit=what.unit,
                decimals=what.decimals,
                **self._past_settings(what),
            ),
        )

    def standings(self, parameter: str = "secchi") -> pd.DataFrame:
        """Return the standing of every station, one row each, stations without readings included.

        Parameters
        ----------
        parameter : str
            Name.

        Returns
        -------
        pandas.DataFrame
            station, name, water, water_name, latitude, longitude and the fields of the standing.
        """
        what = self.parameter(parameter)

        def make() -> pd.DataFrame:
            self._fetch(what)
            rows = []
            for s in self.stations.values():
                answer = plain(self.standing(s.id, what.name))
                answer.pop("notes", None)
                rows.append({
                    "station": s.id, "name": s.name, "water": s.water, "water_name": self.waters[s.water].name,
                    "latitude": s.latitude, "longitude": s.longitude, **answer,
                })  # fmt: skip
            return pd.DataFrame(rows)

        return self.remember(("standings", what.name, self.as_of), make).copy()

    def envelope(self, station: str, parameter: str = "secchi", year: int | None = None) -> pd.DataFrame:
        """Return what is usual at a station through the year, for drawing a year against its past.

        Parameters
        ----------
        station, parameter : str
            Id (or name), name.
        year : int, optional
            The year held against those before it; that of the day taken as today when left out.

        Returns
        -------
        pandas.DataFrame
            One row a day of the year: ``day_of_year``, ``low``, ``median``, ``high`` [unit], ``n``, ``n_years``, and
            ``open_low``, ... where bounds decide a percentile.
        """
        where, what = self.station(station), self.parameter(parameter)
        chosen, settings = year or self.as_of.year, self.config.standing

        def make() -> pd.DataFrame:
            found = past_envelope(
                self._surface(where.id, what.name),
                window_days=settings.window_days,
                percentiles=(settings.low, 50, settings.high),
                before=chosen,
                min_years=settings.min_years,
                min_readings=settings.min_readings,
            )
            names = {f"p{settings.low:g}": "low", "p50": "median", f"p{settings.high:g}": "high"}
            opened = {f"open_{k}": f"open_{v}" for k, v in names.items()}
            return found.rename(columns={"day": "day_of_year", **names, **opened})

        return self.remember(("envelope", where.id, what.name, chosen), make)

    def season_cells(self, station: str | None = None, parameter: str = "secchi") -> pd.DataFrame:
        """Return one value per station, year and season (median), with count, coverage and qualifier.

        Parameters
        ----------
        station : str, optional
            Id or name; all stations when left out.
        parameter : str
            Name.

        Returns
        -------
        pandas.DataFrame
            See :func:`fathomlight.seasons.season_cells`.
        """
        what = self.parameter(parameter)
        where = None if station is None else self.station(station).id

        def make() -> pd.DataFrame:
            if where is not None:
                rows = self._surface(where, what.name).assign(station=where, parameter=what.name)
                return season_cells(rows, self.seasons)
            self._fetch_cells(what)
            parts = self.counts()
            names = parts.loc[parts["parameter"] == what.name, "station"]
            cells = [self.season_cells(n, what.name) for n in names]
            return (
                pd.concat(cells, ignore_index=True)
                if cells
                else season_cells(self.readings(flags=()), self.seasons)
            )

        return self.remember(("cells", where, what.name, self.as_of), make)


def _series_key(station: str, parameter: str, columns: Sequence[str] | None) -> tuple[Any, ...]:
    return ("series", station, parameter, None if columns is None else tuple(columns))


def _listed(names: str | list[str]) -> list[str]:
    return [names] if isinstance(names, str) else list(names)
