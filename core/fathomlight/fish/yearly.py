"""A yearly index of catch from a count model: what each year's catch would be at the average water."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.fish.catch import zero_filled
from fathomlight.fish.counts import CountFit, fit_counts
from fathomlight.fish.gears import gear_key
from fathomlight.fish.species import species_key
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class YearlyIndex(Result):
    """Catch per effort by year, waters held alike.

    Attributes
    ----------
    species, gear, effort_unit : str
        What it is an index of.
    table : pandas.DataFrame
        ``year``, ``surveys``, ``waters``, ``count``, ``index`` [fish per effort unit at the average water],
        ``low``, ``high``, ``relative`` (index over the mean of all years).
    fit : CountFit
        The model.
    confidence : float
        Of the limits.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    species: str
    gear: str
    effort_unit: str
    table: pd.DataFrame
    fit: CountFit
    confidence: float
    method: str
    notes: tuple[str, ...]


def one_gear(table: pd.DataFrame, gear: str | None) -> tuple[pd.DataFrame, str, str]:
    """Keep one gear and one effort unit, or refuse.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``gear`` and, where it has one, ``effort_unit``.
    gear : str or None
        The gear to keep; None when the table has only one.

    Returns
    -------
    tuple
        The rows kept, the gear, and its effort unit.

    Raises
    ------
    ArgumentError
        Several gears and none named, the named gear absent, or several units of effort.
    """
    keys = table["gear"].map(gear_key)
    kinds = sorted(keys.unique())
    if gear is None and len(kinds) > 1:
        raise ArgumentError(
            "gear",
            "gears are never pooled: each catches different fish",
            got=", ".join(kinds),
            expected="one gear",
            fix="Name the gear, and ask once for each.",
        )
    wanted = gear_key(gear) if gear is not None else (kinds[0] if kinds else "")
    if wanted not in kinds:
        raise ArgumentError(
            "gear", "no survey with this gear", got=wanted, expected=", ".join(kinds) or "some surveys"
        )
    rows = table.loc[keys == wanted].reset_index(drop=True)
    units = sorted(rows.loc[rows["effort"].notna(), "effort_unit"].unique()) if "effort_unit" in rows else []
    if len(units) > 1:
        raise ArgumentError(
            "effort_unit",
            "different units of effort cannot be compared",
            got=", ".join(units),
            expected="one unit",
            fix="Keep the surveys with one unit of effort.",
        )
    return rows, wanted, units[0] if units else ""


def _design(years: pd.Series, waters: pd.Series) -> np.ndarray:
    """One column a year; waters sum to zero, so a year's effect is that of the average water."""
    year_names, water_names = sorted(years.unique()), sorted(waters.unique())
    columns = [(years == name).to_numpy(dtype=float) for name in year_names]
    last = (waters == water_names[-1]).to_numpy(dtype=float)
    columns += [(waters == name).to_numpy(dtype=float) - last for name in water_names[:-1]]
    return np.column_stack(columns)


def yearly_index(
    surveys: pd.DataFrame,
    catches: pd.DataFrame,
    species: str,
    *,
    gear: str | None = None,
    first_pass: bool = False,
    confidence: float = 0.95,
) -> YearlyIndex:
    """Estimate a yearly index of catch from a count model with year and water effects.

    Parameters
    ----------
    surveys, catches, species, first_pass
        As in :func:`fathomlight.fish.zero_filled`.
    gear : str, optional
        Needed when the surveys used several.
    confidence : float
        Of the limits, 0 to 1.

    Returns
    -------
    YearlyIndex
        Index by year. Waters that never gave a fish say nothing of the change between years and are left out
        (noted). A year without a fish has index 0 and an exact Poisson upper limit.

    Raises
    ------
    ArgumentError
        Several gears or effort units, no fish, or years and waters that cannot be told apart.

    Notes
    -----
    Maunder, M.N. & A.E. Punt. 2004. Standardizing catch and effort data: a review of recent approaches.
    Fisheries Research 70:141-159.
    """
    filled, name, unit = one_gear(zero_filled(surveys, catches, species, first_pass=first_pass), gear)
    filled["year"] = pd.to_datetime(filled["start"]).dt.year
    usable = filled["count"].notna() & filled["effort"].notna() & filled["year"].notna()
    notes = (
        []
        if usable.all()
        else [f"{int((~usable).sum())} surveys with unknown effort, catch or date were left out."]
    )
    used = filled[usable]
    if used["count"].sum() == 0:
        raise ArgumentError("species", "no survey of this gear caught the species", got=species_key(species))
    by_water = used.groupby("water")["count"].sum()
    empty = sorted(by_water.index[by_water == 0])
    if empty:
        notes.append(f"{len(empty)} waters where the species was never caught were left out.")
    used = used[~used["water"].isin(empty)]
    totals = used.groupby("year")["count"].sum()
    fitted = used[used["year"].isin(totals.index[totals > 0])]
    try:
        fit = fit_counts(fitted["count"], _design(fitted["year"], fitted["water"]), fitted["effort"])
    except ArgumentError as error:
        raise ArgumentError(
            "surveys",
            "years and waters cannot be told apart by these surveys",
            got=error.what,
            fix="Waters must share years, and there must be more surveys than years and waters together.",
        ) from error
    scale = math.sqrt(max(1.0, fit.pearson_dispersion)) if fit.family == "poisson" else 1.0
    table = _index_rows(used, fitted, fit, scale, confidence)
    if (table["count"] == 0).any():
        notes.append("Years without a fish have index 0 and an exact Poisson upper limit.")
    if (table["surveys"] < 3).any():
        notes.append("Some years have fewer than 3 surveys.")
    label = "negative binomial" if fit.family == "nb2" else "Poisson"
    return YearlyIndex(
        species=species_key(species),
        gear=name,
        effort_unit=unit,
        table=table,
        fit=fit,
        confidence=confidence,
        method=f"{label} count model with year and water effects, log effort as offset, "
        f"{fit.n} surveys with {name}; "
        "the index is the expected catch per effort at the average water (on the log scale).",
        notes=tuple(notes),
    )


def _index_rows(
    used: pd.DataFrame, fitted: pd.DataFrame, fit: CountFit, scale: float, confidence: float
) -> pd.DataFrame:
    from scipy.stats import chi2
    from scipy.stats import t as student

    quantile = float(student.ppf(0.5 + confidence / 2, fit.df))
    places = {year: i for i, year in enumerate(sorted(fitted["year"].unique()))}
    rows: list[dict[str, Any]] = []
    for year, group in used.groupby("year"):
        row: dict[str, Any] = {
            "year": int(str(year)),
            "surveys": len(group),
            "waters": group["water"].nunique(),
            "count": group["count"].sum(),
        }
        if year in places:
            i = places[year]
            log, half = float(fit.coefficients[i]), quantile * scale * float(fit.se[i])
            row |= {"index": math.exp(log), "low": math.exp(log - half), "high": math.exp(log + half)}
        else:
            most = float(chi2.ppf(0.5 + confidence / 2, 2)) / 2
            row |= {"index": 0.0, "low": 0.0, "high": most / float(group["effort"].sum())}
        rows.append(row)
    table = pd.DataFrame(rows)
    return table.assign(relative=table["index"] / table["index"].mean())
