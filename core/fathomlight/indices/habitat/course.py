"""Thermal-optical habitat through the days, seasons and years of one water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray
from fathomlight.indices.habitat.daily import SweptBed, mean_area
from fathomlight.indices.habitat.inputs import HabitatDays, HabitatInputs, day_of_year, lay_out
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.light import k_words
from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION, join_words
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class HabitatResult(Result):
    """Habitat of one species in one water.

    Attributes
    ----------
    species : str
        Whose habitat.
    years : pandas.DataFrame
        One row a year: ``year``; ``area_m2``, mean area of bed with the right light and temperature, [m2],
        over all hours of the covered days; ``share``, the same as share of the lake surface;
        ``optical_area_m2`` and ``thermal_area_m2``, by light and by temperature alone; ``noon_shallow_m``
        and ``noon_deep_m``, mean light band at noon, [m]; ``secchi_m``, geometric mean of the daily disc
        depth, [m]; ``readings``, ``bounds`` (of them with a qualifier), ``profiles``; ``days`` of the
        season, ``covered_days`` with all that ``area_m2`` needs, ``filled_days`` with temperature of other
        years; ``covered``, whether enough days are covered to compare the year with others.
    days : pandas.DataFrame
        The same day by day: ``date``, ``year``, ``secchi_m``, ``area_m2``, ``optical_area_m2``,
        ``thermal_area_m2``, ``noon_shallow_m``, ``noon_deep_m``, ``temperature_filled``.
    surface_m2 : float
        Area of the lake surface, [m2].
    missing : tuple of str
        Inputs that were not there.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    species: str
    years: pd.DataFrame
    days: pd.DataFrame
    surface_m2: float
    missing: tuple[str, ...]
    reading: str
    method: str
    caution: str = f"{HABITAT_CAUTION} {CLARITY_CAUTION}"
    notes: tuple[str, ...] = ()


def _noon_band(laid: HabitatDays, k: float, species: Species) -> tuple[FloatArray, FloatArray]:
    nan = np.full(laid.days.size, np.nan)
    if laid.light is None:
        return nan, nan
    noon = laid.light.log_lux[day_of_year(laid.days), 0]
    reach = np.exp(laid.log_disc) / k
    bottom = np.inf if laid.nodes is None else laid.nodes[-1]
    shallow, deep = ((noon - np.log(limit)) * reach for limit in (species.high_lux, species.low_lux))
    return np.clip(shallow, 0.0, bottom), np.clip(deep, 0.0, bottom)


def _daily(inputs: HabitatInputs, laid: HabitatDays, species: Species) -> pd.DataFrame:
    nan = np.full(laid.days.size, np.nan)
    lit = laid.light is not None and laid.weights is not None
    optical = both = nan
    if lit and laid.nodes is not None and laid.plain_bed is not None:
        optical = mean_area(laid, SweptBed.of(laid.nodes, laid.plain_bed), laid.log_disc, inputs.k, species)
    if lit and laid.nodes is not None and laid.bed is not None:
        both = mean_area(laid, SweptBed.of(laid.nodes, laid.bed), laid.log_disc, inputs.k, species)
    shallow, deep = _noon_band(laid, inputs.k, species)
    return pd.DataFrame(
        {
            "date": laid.days.astype("datetime64[s]"),
            "year": laid.year,
            "secchi_m": np.exp(laid.log_disc),
            "area_m2": both,
            "optical_area_m2": optical,
            "thermal_area_m2": laid.bed[:, -1] if laid.bed is not None else nan,
            "noon_shallow_m": shallow,
            "noon_deep_m": deep,
            "temperature_filled": laid.temperature_filled,
        }
    )


def _main_column(daily: pd.DataFrame) -> str:
    """Name the best that could be computed: both bands, light, temperature, or band depths alone."""
    for column in ("area_m2", "optical_area_m2", "thermal_area_m2", "noon_deep_m"):
        if daily[column].notna().any():
            return column
    return "secchi_m"


def _yearly(laid: HabitatDays, daily: pd.DataFrame, min_coverage: float) -> pd.DataFrame:
    main = _main_column(daily)
    used = daily[daily[main].notna()]
    columns = ["area_m2", "optical_area_m2", "thermal_area_m2", "noon_shallow_m", "noon_deep_m"]
    groups = used.groupby("year")
    years = pd.Index(np.unique(laid.year), name="year")
    out = groups[columns].mean().reindex(years)
    out.insert(1, "share", out["area_m2"] / laid.surface_m2)
    out["secchi_m"] = np.exp(np.log(used["secchi_m"]).groupby(used["year"]).mean()).reindex(years)
    in_season = dict(zip(laid.days, laid.year, strict=True))

    def per_year(days: Any) -> pd.Series:
        found = pd.Series([in_season[d] for d in days if d in in_season], dtype="int64")
        return found.value_counts().reindex(years, fill_value=0)

    out["readings"] = per_year(laid.reading_days)
    out["bounds"] = per_year(laid.reading_days[laid.bound])
    out["profiles"] = per_year(laid.profile_days)
    out["days"] = daily.groupby("year").size()
    out["covered_days"] = groups.size().reindex(years, fill_value=0)
    out["filled_days"] = groups["temperature_filled"].sum().reindex(years, fill_value=0).astype(int)
    out["covered"] = out["covered_days"] >= min_coverage * out["days"]
    return out.reset_index()


def thermal_optical_area(
    inputs: HabitatInputs, *, species: Species = WALLEYE, min_coverage: float = 0.5
) -> HabitatResult:
    """Area of lake bed with the right light and temperature, through days, seasons and years.

    Parameters
    ----------
    inputs : HabitatInputs
        Readings and settings of one water.
    species : Species
        Light and temperature bands.
    min_coverage : float
        Least share of season days with all inputs, 0 to 1, for a year to count as covered.

    Returns
    -------
    HabitatResult
        Yearly and daily tables. Where inputs are missing it says which and computes what can be: without
        temperature the area by light alone, without disc or latitude the area by temperature alone, without
        a depth-area table the depths of the light band.

    Raises
    ------
    ArgumentError
        An input is impossible, or there is nothing to start from.

    Notes
    -----
    Through the day, ``z68 = ln(E0 / 68) / Kd`` and ``z8 = ln(E0 / 8) / Kd`` are clipped to the
    lake, the bed between them is taken from the depth-area table, and the part outside the temperature band
    is left out; the mean over all 24 hours is the day's area, and the mean over covered season days the
    year's. Between readings disc depth is interpolated in its logarithm and temperature linearly at each
    depth; the deepest temperature is held to the bottom. Light is that of a clear sky times ``sky_factor``.

    References
    ----------
    Lester, N.P., A.J. Dextrase, R.S. Kushneriuk, M.R. Rawson & P.A. Ryan. 2004. Light and temperature: key
    factors affecting walleye abundance and production. Trans. Am. Fish. Soc. 133:588-605.

    Hansen, G.J.A. et al. 2019. Water clarity and temperature effects on walleye safe harvest: an empirical
    test of the safe operating space concept. Ecosphere 10(5) (habitat fell as clarity rose).
    """
    if not 0 <= min_coverage <= 1:
        raise ArgumentError("min_coverage", "must lie between 0 and 1", got=min_coverage)
    laid = lay_out(inputs, species.low_degc, species.high_degc)
    daily = _daily(inputs, laid, species)
    years = _yearly(laid, daily, min_coverage)
    return HabitatResult(
        species=species.name,
        years=years,
        days=daily,
        surface_m2=laid.surface_m2,
        missing=laid.missing,
        reading=_reading(years, species, laid),
        method=_method(inputs, species),
        notes=_notes(inputs, laid, years, species),
    )


def _method(inputs: HabitatInputs, species: Species) -> str:
    (m1, d1), (m2, d2) = inputs.season
    return (
        f"Thermal-optical habitat for {species.label.lower()}: "
        f"{species.low_lux:g}-{species.high_lux:g} lux and "
        f"{species.low_degc:g}-{species.high_degc:g} degC at the lake bed, mean over all hours of the season "
        f"({m1:02d}-{d1:02d} to {m2:02d}-{d2:02d}, month-day); Kd = k / disc depth with "
        f"{k_words(inputs.k)}, clear-sky "
        f"light times {inputs.sky_factor:g}. {species.source}"
    )


def _notes(
    inputs: HabitatInputs, laid: HabitatDays, years: pd.DataFrame, species: Species
) -> tuple[str, ...]:
    notes = list(species.notes)
    if laid.missing:
        notes.append(
            f"Missing: {join_words(list(laid.missing))}; only what can be known without was computed."
        )
    if laid.bound.any():
        notes.append(
            f"{int(laid.bound.sum())} disc readings are bounds (disc seen on the bottom): the water "
            "was clearer than "
            "the value used, and the light band lay deeper."
        )
    if years["filled_days"].sum():
        notes.append(
            f"{int(years['filled_days'].sum())} days without a profile took the mean temperature of "
            "the same day in "
            "other years."
        )
    if laid.short_profiles:
        notes.append(
            f"{laid.short_profiles} of {laid.profile_days.size} profiles end above 80 % of the "
            "greatest depth; their "
            "deepest reading was held to the bottom."
        )
    notes.append(f"Attenuation rests on {k_words(inputs.k)}; coloured or silty water needs a k of its own.")
    return tuple(notes)


def _reading(years: pd.DataFrame, species: Species, laid: HabitatDays) -> str:
    good = years[years["covered"]]
    if good.empty:
        return f"There are too few readings to say how much of the lake suits {species.label.lower()}."
    row = good.iloc[-1]
    start = f"In {int(row['year'])}, {species.label.lower()}"
    if np.isfinite(row["area_m2"]):
        return (
            f"{start} had on average {row['area_m2'] / 1e4:.1f} ha of lake bed with the light and "
            "warmth they prefer, "
            f"{row['share']:.1%} of the lake."
        )
    if np.isfinite(row["optical_area_m2"]):
        return f"{start} had on average {row['optical_area_m2'] / 1e4:.1f} ha with the light they prefer."
    if np.isfinite(row["thermal_area_m2"]):
        return f"{start} had on average {row['thermal_area_m2'] / 1e4:.1f} ha with the warmth they prefer."
    if np.isfinite(row["noon_deep_m"]):
        return (
            f"{start} found the light they prefer between {row['noon_shallow_m']:.1f} and "
            f"{row['noon_deep_m']:.1f} m "
            "at noon."
        )
    return f"Without {join_words(list(laid.missing))} nothing can be said of {species.label.lower()} habitat."
