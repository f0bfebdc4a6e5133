"""The same answers for whole tables: removal by survey, sizes and condition by group."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError, OutOfRangeWarning
from fathomlight.fish.condition import relative_weight
from fathomlight.fish.removal import RemovalMethod, removal_estimate
from fathomlight.fish.sizes import IntervalMethod, size_structure
from fathomlight.fish.species import CATEGORIES, Species, find_species, species_key
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS

_REMOVAL = ("n", "se", "low", "high", "capture_probability", "capture_probability_se", "total", "chi2_p")
_SIZES = (
    *("n_stock", "n_below_stock", "psd", "psd_low", "psd_high", "psd_p", "psd_p_low", "psd_p_high"),
    *("psd_m", "psd_m_low", "psd_m_high", "psd_t", "psd_t_low", "psd_t_high"),
)


def _need(frame: pd.DataFrame, columns: Sequence[str], argument: str) -> None:
    absent = [name for name in columns if name not in frame]
    if absent:
        raise ArgumentError(
            argument, "columns are missing", got=", ".join(absent), expected=", ".join(columns)
        )


def removal_table(
    surveys: pd.DataFrame,
    catches: pd.DataFrame,
    species: str,
    *,
    method: RemovalMethod = "zippin",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Estimate numbers by removal for every survey of several passes.

    The number of passes of a survey is the highest pass number of any species in it; a pass without a row
    of the species caught none.

    Parameters
    ----------
    surveys : pandas.DataFrame
        With ``survey``, ``water``, ``start``; other surveys in ``catches`` are not looked at.
    catches : pandas.DataFrame
        ``CATCH_COLUMNS``.
    species : str
        Which species.
    method, confidence
        As in :func:`fathomlight.fish.removal_estimate`.

    Returns
    -------
    pandas.DataFrame
        One row a survey of at least two passes: ``survey``, ``water``, ``start``, ``passes``, ``counts``
        (text), the numbers of :class:`~fathomlight.fish.RemovalResult` (NaN where refused), ``refused``
        (why) and ``notes``.

    Raises
    ------
    ArgumentError
        Missing columns.
    """
    _need(surveys, ("survey", "water", "start"), "surveys")
    _need(catches, list(CATCH_COLUMNS), "catches")
    key = species_key(species)
    passes = catches.groupby("survey")["pass_number"].max()
    own = catches[catches["species"].map(species_key) == key] if len(catches) else catches
    sums = own.groupby(["survey", "pass_number"])["count"].sum()
    rows: list[dict[str, Any]] = []
    for record in surveys.to_dict("records"):
        name = record["survey"]
        last = int(passes.get(name, 0))
        if last < 2:
            continue
        counts = [int(sums.get((name, i), 0)) for i in range(1, last + 1)]
        row: dict[str, Any] = {
            **{column: record[column] for column in ("survey", "water", "start")},
            "passes": last,
            "counts": ", ".join(map(str, counts)),
            **dict.fromkeys(_REMOVAL, math.nan),
            "refused": "",
            "notes": "",
        }
        try:
            result = removal_estimate(counts, method, confidence=confidence)
        except ArgumentError as error:
            row |= {"total": sum(counts), "refused": error.what.removeprefix("counts: ")}
        else:
            row |= {column: getattr(result, column) for column in _REMOVAL}
            row["notes"] = " ".join(result.notes)
        rows.append(row)
    return pd.DataFrame(
        rows, columns=["survey", "water", "start", "passes", "counts", *_REMOVAL, "refused", "notes"]
    )


def _grouped(
    surveys: pd.DataFrame, fish: pd.DataFrame, species: str | Species, by: Sequence[str]
) -> tuple[Species, list[str], Any]:
    """Fish of one species with what is known of their survey, in groups of gear and ``by``."""
    _need(surveys, ("survey", "water", "gear", "start"), "surveys")
    _need(fish, list(FISH_COLUMNS), "fish")
    unknown = set(by) - {"water", "year", "survey"}
    if unknown:
        raise ArgumentError("by", "cannot group by this", got=sorted(unknown), expected="water, year, survey")
    kind = find_species(species)
    own = fish[fish["species"].map(species_key) == kind.name] if len(fish) else fish
    known = surveys[["survey", "water", "gear"]].assign(year=pd.to_datetime(surveys["start"]).dt.year)
    keys = ["gear", *by]
    return (
        kind,
        keys,
        own.merge(known, on="survey", how="inner", validate="many_to_one").groupby(keys, sort=True),
    )


def size_table(
    surveys: pd.DataFrame,
    fish: pd.DataFrame,
    species: str | Species,
    *,
    by: Sequence[str] = ("water", "year"),
    interval: IntervalMethod = "multinomial",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Tabulate proportional size structure by gear and whatever else is asked for.

    Parameters
    ----------
    surveys : pandas.DataFrame
        With ``survey``, ``water``, ``gear``, ``start``.
    fish : pandas.DataFrame
        ``FISH_COLUMNS``; fish of surveys that are not in ``surveys`` are not looked at.
    species : str or Species
        Which species.
    by : sequence of str
        Any of ``water``, ``year``, ``survey``, on top of gear, which is never pooled.
    interval, confidence
        As in :func:`fathomlight.fish.size_structure`.

    Returns
    -------
    pandas.DataFrame
        One row a group: its columns, then the numbers of :class:`~fathomlight.fish.SizeStructure` and
        ``notes``.

    Raises
    ------
    ArgumentError
        Missing columns or an unknown column in ``by``.
    """
    kind, keys, groups = _grouped(surveys, fish, species, by)
    rows = []
    for labels, group in groups:
        result = size_structure(group["length_mm"], kind, interval=interval, confidence=confidence)
        numbers = {name: getattr(result, name) for name in _SIZES}
        rows.append({**dict(zip(keys, labels, strict=True)), **numbers, "notes": " ".join(result.notes)})
    return pd.DataFrame(rows, columns=[*keys, *_SIZES, "notes"])


def condition_table(
    surveys: pd.DataFrame,
    fish: pd.DataFrame,
    species: str | Species,
    *,
    by: Sequence[str] = ("water", "year"),
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Tabulate mean relative weight by length category, which keeps short and long fish apart.

    Parameters
    ----------
    surveys, fish, species, by
        As in :func:`size_table`.
    confidence : float
        Of the t limits of the mean, 0 to 1.

    Returns
    -------
    pandas.DataFrame
        One row a group and length category that holds weighed fish: ``category`` ("below stock", "stock" ...,
        "trophy"), ``n``, ``mean``, ``sd``, ``low``, ``high`` [%]; fish outside the equation's range are
        left out.

    Raises
    ------
    ArgumentError
        Missing columns, an unknown column in ``by``, or a species without a standard-weight equation.

    Notes
    -----
    Murphy, B.R., D.W. Willis & T.A. Springer. 1991. The relative weight index in fisheries management:
    status and needs. Fisheries 16(2):30-38: compare condition within length categories.
    """
    from scipy.stats import t as student

    kind, keys, groups = _grouped(surveys, fish, species, by)
    names = ("below stock", *CATEGORIES)
    rows: list[dict[str, Any]] = []
    for labels, group in groups:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", OutOfRangeWarning)  # said in the docstring; those fish give NaN
            ratio = np.atleast_1d(relative_weight(group["length_mm"], group["weight_g"], kind))
        place = np.searchsorted(kind.limits_mm, group["length_mm"].to_numpy(dtype=float), side="right")
        for i, name in enumerate(names):
            values = ratio[(place == i) & np.isfinite(ratio)]
            if values.size == 0:
                continue
            sd = float(values.std(ddof=1)) if values.size > 1 else math.nan
            half = float(student.ppf(0.5 + confidence / 2, values.size - 1)) * sd / math.sqrt(values.size)
            mean = float(values.mean())
            numbers = {"category": name, "n": int(values.size), "mean": mean, "sd": sd}
            rows.append(
                {**dict(zip(keys, labels, strict=True)), **numbers, "low": mean - half, "high": mean + half}
            )
    return pd.DataFrame(rows, columns=[*keys, "category", "n", "mean", "sd", "low", "high"])
