"""What the readings mean: trophic state, light, stratification, habitat, local relations."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import EQUAL, USED_FLAGS, Result
from fathomlight.workspace.looking import Looking

if TYPE_CHECKING:
    import xarray as xr

    from fathomlight.alerts import Rule
    from fathomlight.indices.clarity import ClarityRelation
    from fathomlight.indices.habitat import (
        HabitatInputs,
        HabitatResult,
        HabitatSensitivityResult,
        HabitatUncertaintyResult,
    )
    from fathomlight.indices.stratification import DaysStratifiedResult
    from fathomlight.model import Water

TROPHIC_INPUTS = ("secchi", "chlorophyll", "total_phosphorus", "total_nitrogen")
"""Inputs of a trophic state index, in the order in which they are shown."""

TROPHIC_PRIORITY = ("chlorophyll", "secchi", "total_phosphorus", "total_nitrogen")
"""Which input speaks for the trophic state when there are several: chlorophyll goes first."""


@dataclass(frozen=True, kw_only=True)
class TrophicAnswer(Result):
    """Trophic state of a station, year by year and input by input; inputs are never averaged.

    Attributes
    ----------
    station : str
        Id.
    yearly : pandas.DataFrame
        One row a year and input: ``year``, ``input``, ``index`` with limits ``low`` and ``high``, ``n`` days,
        ``bound`` (empty, ``at most``, ``at least``, ``open``), ``covered``, ``why_not``, ``class_name``,
        ``p: CLASS`` a probability a class, ``reading`` a sentence.
    deviations : pandas.DataFrame
        Carlson's deviations by year: ``year``, ``x`` = TSI(chlorophyll) - TSI(disc), ``y`` = TSI(chlorophyll) -
        TSI(phosphorus), ``pattern``.
    latest : dict
        The row of the newest covered year of the input that goes first; empty when there is none.
    sentence, caution, method : str
        The answer in plain words, what it does not say, how it was done.
    notes : tuple of str
        What a careful reader must know.
    """

    station: str
    yearly: pd.DataFrame
    deviations: pd.DataFrame
    latest: dict[str, Any]
    sentence: str
    caution: str
    method: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class HabitatAnswer(Result):
    """Thermal-optical habitat of a sight-feeding fish in a water.

    Attributes
    ----------
    water, station, species : str
        Water, the station whose readings stand for it, key of the species.
    result : HabitatResult
        Yearly and daily tables.
    uncertainty : HabitatUncertaintyResult or None
        Interval of every year, from k and from the readings; None without a depth-area table.
    sensitivity : HabitatSensitivityResult or None
        Area against disc depth; None without a depth-area table.
    yearly : pandas.DataFrame
        ``year``, ``area_ha`` with ``low`` and ``high`` [ha], ``share``, ``secchi_m``, ``covered``.
    sentence, caution, method : str
        The answer in plain words, what it does not say, how it was done.
    notes : tuple of str
        What a careful reader must know.
    """

    water: str
    station: str
    species: str
    result: HabitatResult
    uncertainty: HabitatUncertaintyResult | None
    sensitivity: HabitatSensitivityResult | None
    yearly: pd.DataFrame
    sentence: str
    caution: str
    method: str
    notes: tuple[str, ...] = ()


class Meaning(Looking):
    """Indices of the stations and waters of a workspace."""

    def _used(self, station: str, parameter: str) -> pd.DataFrame:
        table = self._surface(station, parameter)
        return table[table["flag"].isin([int(f) for f in USED_FLAGS])]

    def trophic(self, station: str) -> TrophicAnswer:
        """Say in what trophic state a station is, by Carlson's index of each input it has.

        Parameters
        ----------
        station : str
            Id or name.

        Returns
        -------
        TrophicAnswer
            Growing-season means with intervals and class probabilities, deviations, a sentence.
        """
        where = self.station(station)
        return self.remember(("trophic", where.id), lambda: self._trophic(where.id))

    def _window(self) -> tuple[tuple[int, int], tuple[int, int]]:
        from fathomlight.indices.window import window_of_months

        return window_of_months(self.config.growing_season)

    def _trophic(self, station: str) -> TrophicAnswer:
        from fathomlight.indices.seasonal import seasonal_index
        from fathomlight.indices.words import CLARITY_CAUTION

        parts, notes, methods = [], [], []
        for name in TROPHIC_INPUTS:
            if name not in self.parameters:
                continue
            rows = self._used(station, name)
            rows = rows[rows["value"] > 0]
            if rows.empty:
                continue
            found = seasonal_index(
                rows["local_date"].to_numpy(), rows["value"].to_numpy(), name,
                qualifiers=rows["qualifier"].to_numpy(), window=self._window(),
            )  # fmt: skip
            parts.append(found.years.assign(input=name))
            notes += [n for n in found.notes if n not in notes]
            methods.append(found.method)
        yearly = _yearly_table(parts)
        latest = _latest(yearly)
        name = self.stations[station].name
        sentence = (
            f"{name}: {latest['reading']}" if latest else f"{name}: no year has enough readings for an index."
        )
        return TrophicAnswer(
            station=station,
            yearly=yearly,
            deviations=_deviations(yearly),
            latest=latest,
            sentence=sentence,
            caution=CLARITY_CAUTION,
            method=" ".join(methods),
            notes=tuple(notes),
        )

    def _all_classes(self, rules: tuple[Rule, ...]) -> pd.DataFrame:
        """Return index classes by station and year, as class-change rules want them."""
        rows = []
        for station in self.stations:
            table = self.trophic(station).yearly
            for row in table[table["covered"] & (table["bound"] == "")].to_dict("records"):
                rows.append({
                    "station": station, "index": f"tsi_{row['input']}", "year": row["year"],
                    "label": row["class_name"], "value": row["index"],
                })  # fmt: skip
        return pd.DataFrame(rows, columns=["station", "index", "year", "label", "value"])

    def light(self, station: str) -> pd.DataFrame:
        """Return attenuation and the depth of 1 % light for every used disc reading of a station.

        Parameters
        ----------
        station : str
            Id or name.

        Returns
        -------
        pandas.DataFrame
            ``local_date``, ``secchi_m``, ``qualifier``, ``kd`` [1/m] and ``euphotic_m`` [m], with k of the water; of
            a disc on the bottom ``kd`` is at most, ``euphotic_m`` at least, the number shown.
        """
        from fathomlight.indices.light import attenuation, euphotic_depth

        where = self.station(station)
        k = self.waters[where.water].kd_constant
        rows = self._used(where.id, "secchi")
        disc = rows["value"].to_numpy(dtype=float)
        return pd.DataFrame({
            "local_date": rows["local_date"].to_numpy(), "secchi_m": disc, "qualifier": rows["qualifier"].to_numpy(),
            "kd": attenuation(disc, k=k), "euphotic_m": euphotic_depth(disc, k=k),
        })  # fmt: skip

    # -- layers -------------------------------------------------------------------------------------------

    def _temperatures(self, stations: list[str]) -> pd.DataFrame:
        return self.readings(stations, "temperature", flags=tuple(USED_FLAGS), end=self._tonight())

    def stratification(self, station: str) -> xr.Dataset:
        """Return temperature on an even depth-time grid with the thermocline of each visit.

        Parameters
        ----------
        station : str
            Id or name.

        Returns
        -------
        xarray.Dataset
            See :func:`fathomlight.indices.stratification.isotherm_grid`; ``schmidt_stability`` (visit) [J/m2] is
            added where the water has a depth-area table.

        Raises
        ------
        fathomlight.errors.NotFoundError
            The station has no temperature profiles.
        """
        where = self.station(station)
        return self.remember(("layers", where.id), lambda: self._layers(where.id))

    def _layers(self, station: str) -> xr.Dataset:
        from fathomlight.indices.stratification import isotherm_grid, schmidt_stability

        rows = self._temperatures([station])
        depths = rows.groupby("local_date")["depth_m"].nunique()
        if not (depths >= 3).any():
            raise NotFoundError("this station has no temperature profiles", got=station)
        grid = isotherm_grid(
            rows["local_date"].to_numpy(), rows["depth_m"].to_numpy(), rows["value"].to_numpy()
        )
        table = np.array(self.waters[self.stations[station].water].depth_areas)
        if len(table):
            stability = []
            by_day = dict(tuple(rows.groupby(rows["local_date"].dt.normalize())))
            for visit in pd.DatetimeIndex(grid["visit"].to_numpy()):
                part = by_day.get(visit.normalize())
                try:
                    value = (
                        schmidt_stability(
                            part["depth_m"].to_numpy(), part["value"].to_numpy(), table[:, 0], table[:, 1]
                        )
                        if part is not None
                        else math.nan
                    )
                except ArgumentError:
                    value = math.nan
                stability.append(float(value))
            grid["schmidt_stability"] = (
                "visit",
                stability,
                {"units": "J m-2", "long_name": "Schmidt stability"},
            )
        return grid

    def days_stratified(self, station: str) -> DaysStratifiedResult:
        """Count the days of each year on which warm water lay on cold at a station."""
        from fathomlight.indices.stratification import days_stratified

        where = self.station(station)

        def make() -> DaysStratifiedResult:
            rows = self._temperatures([where.id])
            return days_stratified(
                rows["local_date"].to_numpy(), rows["depth_m"].to_numpy(), rows["value"].to_numpy()
            )

        return self.remember(("stratified", where.id), make)

    # -- habitat ------------------------------------------------------------------------------------------

    def habitat_inputs(self, water: str) -> HabitatInputs:
        """Gather what habitat needs: disc readings and profiles of a water, its depth-area table and latitude.

        Disc readings of all its stations are used; profiles are those of its station with the most.
        """
        from fathomlight.indices.habitat import HabitatInputs
        from fathomlight.indices.window import window_of_months

        where = self.water(water)
        stations = [s.id for s in self.stations_of(where.id)]
        discs = (
            pd.concat([self._used(s, "secchi") for s in stations]) if stations else self.readings(flags=())
        )
        heat = self._temperatures(stations) if stations else discs
        if len(heat):
            deep = heat[heat["station"] == heat.groupby("station").size().idxmax()]
            heat = deep
        table = np.array(where.depth_areas)
        return HabitatInputs(
            dates=discs["local_date"].to_numpy(),
            secchi_m=discs["value"].to_numpy(dtype=float),
            qualifiers=discs["qualifier"].to_numpy(),
            temperature_dates=heat["local_date"].to_numpy() if len(heat) else None,
            temperature_depths_m=heat["depth_m"].to_numpy() if len(heat) else None,
            temperatures=heat["value"].to_numpy() if len(heat) else None,
            area_depths_m=table[:, 0] if len(table) else None,
            areas_m2=table[:, 1] if len(table) else None,
            latitude=None if math.isnan(where.latitude) else where.latitude,
            season=window_of_months(self.config.open_water),
            k=where.kd_constant,
        )

    def habitat(self, water: str, species: str = "walleye") -> HabitatAnswer:
        """Say how much of a water has the light and the warmth a sight-feeding fish does well in.

        Parameters
        ----------
        water : str
            Id of the water (or of a station in it).
        species : str
            Key in ``config/species.toml``.

        Returns
        -------
        HabitatAnswer
            Area by year with interval, what another metre of clarity would do, a sentence.

        Raises
        ------
        fathomlight.errors.NotFoundError
            No such water or species.
        fathomlight.errors.ArgumentError
            The water has neither disc readings nor profiles.
        """
        where = self.waters[self.stations[water].water] if water in self.stations else self.water(water)
        if species not in self.species:
            raise NotFoundError(
                "there is no species of this name", got=species, expected=f"one of {', '.join(self.species)}"
            )
        return self.remember(("habitat", where.id, species), lambda: self._habitat(where, species))

    def _habitat(self, water: Water, species: str) -> HabitatAnswer:
        from fathomlight.indices.habitat import (
            CLEAREST_M,
            habitat_sensitivity,
            habitat_uncertainty,
            thermal_optical_area,
        )

        inputs, kind = self.habitat_inputs(water.id), self.species[species]
        result = thermal_optical_area(inputs, species=kind)
        whole = bool(len(water.depth_areas)) and not math.isnan(water.latitude) and len(inputs.dates) > 0
        possible = self.config.possible.get("secchi")
        clearest = CLEAREST_M if possible is None else possible[1]
        doubt = habitat_uncertainty(inputs, species=kind, clearest_m=clearest) if whole else None
        curve = habitat_sensitivity(inputs, species=kind) if whole else None
        yearly = result.years[["year", "area_m2", "share", "secchi_m", "covered"]].copy()
        yearly.insert(1, "area_ha", yearly.pop("area_m2") / 1e4)
        if doubt is not None:
            limits = doubt.years.set_index("year")[["low_m2", "high_m2"]] / 1e4
            yearly["low"] = yearly["year"].map(limits["low_m2"])
            yearly["high"] = yearly["year"].map(limits["high_m2"])
        open_days = doubt is not None and bool(doubt.years["open_days"].any())
        return HabitatAnswer(
            water=water.id,
            station="",
            species=species,
            result=result,
            uncertainty=doubt,
            sensitivity=curve,
            yearly=yearly,
            sentence=f"{water.name}: {result.reading}",
            caution=result.caution,
            method=result.method,
            notes=(*result.notes, *(doubt.notes[:1] if doubt is not None and open_days else ())),
        )

    def clarity_relation(self, station: str, x: str = "secchi", y: str = "turbidity_ntu") -> ClarityRelation:
        """Fit a station's own log-log relation between two measures of clarity taken on one day.

        Parameters
        ----------
        station : str
            Id or name.
        x, y : str
            What is known and what is estimated; NTU and FNU are never related to each other.

        Returns
        -------
        fathomlight.indices.clarity.ClarityRelation
            The line, its checks, or the reason why it is refused.
        """
        from fathomlight.indices.clarity import fit_clarity_relation
        from fathomlight.seasons import day_values

        where = self.station(station).id

        def make() -> ClarityRelation:
            tables = []
            for name in (self.parameter(x).name, self.parameter(y).name):
                days = day_values(self._surface(where, name)).set_index("date")
                days["qualifier"] = days["code"].map({-1: "<", 0: EQUAL, 1: ">"})
                tables.append(days[["value", "qualifier"]])
            both = tables[0].merge(tables[1], left_index=True, right_index=True, suffixes=("_x", "_y"))
            both = both[(both["value_x"] > 0) & (both["value_y"] > 0)]
            return fit_clarity_relation(
                both["value_x"].to_numpy(), both["value_y"].to_numpy(), x_parameter=x, y_parameter=y,
                x_qualifiers=both["qualifier_x"].to_numpy(), y_qualifiers=both["qualifier_y"].to_numpy(),
            )  # fmt: skip

        return self.remember(("relation", where, x, y), make)


def _yearly_table(parts: list[pd.DataFrame]) -> pd.DataFrame:
    columns = ["year", "input", "index", "low", "high", "n", "bound", "covered", "why_not", "class_name"]
    if not parts:
        return pd.DataFrame(columns=[*columns, "reading"])
    table = pd.concat(parts, ignore_index=True).rename(columns={"mean": "index", "days": "n"})
    chances = [c for c in table.columns if c.startswith("p: ")]
    table = table[[*columns, *chances, "reading"]]
    return table.sort_values(["year", "input"], ignore_index=True)


def _latest(yearly: pd.DataFrame) -> dict[str, Any]:
    good = yearly[yearly["covered"].astype(bool)] if len(yearly) else yearly
    if good.empty:
        return {}
    newest = good[good["year"] == good["year"].max()]
    for name in TROPHIC_PRIORITY:
        rows = newest[newest["input"] == name]
        if len(rows):
            return {str(k): v for k, v in rows.iloc[0].to_dict().items()}
    return {}


def _deviations(yearly: pd.DataFrame) -> pd.DataFrame:
    columns = ["year", "x", "y", "pattern"]
    if yearly.empty:
        return pd.DataFrame(columns=columns)
    good = yearly[yearly["covered"] & (yearly["bound"] == "")]
    wide = good.pivot(index="year", columns="input", values="index")
    if "chlorophyll" not in wide:
        return pd.DataFrame(columns=columns)
    from fathomlight.indices.trophic.deviations import pattern_words

    chl = wide["chlorophyll"]
    x = chl - wide["secchi"] if "secchi" in wide else chl * math.nan
    y = chl - wide["total_phosphorus"] if "total_phosphorus" in wide else chl * math.nan
    table = pd.DataFrame({"year": wide.index, "x": x.to_numpy(), "y": y.to_numpy()})
    table = table[table["x"].notna() | table["y"].notna()].reset_index(drop=True)
    table["pattern"] = [pattern_words(a, b) for a, b in zip(table["x"], table["y"], strict=True)]
    return table
