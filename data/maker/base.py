"""What every part of the maker shares: the seed, the clock of the demo, and plain writing of files."""

from __future__ import annotations

import csv
import io
import tomllib
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

SEED = 20250928
AS_OF = pd.Timestamp("2025-09-28")
FIRST_YEAR, LAST_YEAR = 2006, 2025
YEARS = range(FIRST_YEAR, LAST_YEAR + 1)
FEET = 0.3048
CONFIG = Path(__file__).resolve().parents[2] / "config"


def stream(*names: object) -> np.random.Generator:
    """Return a random stream for the named thing, so that parts can change without moving others."""
    return np.random.default_rng([SEED, zlib.crc32("/".join(map(str, names)).encode())])


def year_fraction(dates: pd.DatetimeIndex) -> np.ndarray:
    """Return decimal years [a]."""
    days = np.where(dates.is_leap_year, 366.0, 365.0)
    return np.asarray(dates.year + (dates.day_of_year - 0.5) / days, dtype=float)


def autocorrelated(days: np.ndarray, scale_days: float, rng: np.random.Generator) -> np.ndarray:
    """Return unit-variance noise whose correlation falls as exp(-gap / scale) between readings."""
    out = rng.standard_normal(len(days))
    for i in range(1, len(days)):
        r = float(np.exp(-(days[i] - days[i - 1]) / scale_days))
        out[i] = r * out[i - 1] + np.sqrt(1 - r * r) * out[i]
    return out


def years_noise(name: str, correlation: float = 0.3) -> dict[int, float]:
    """Return one AR(1) value per year, mean 0, spread 1: what a good or a bad year does to a whole water.

    The straight line that chance puts into twenty such values is taken out, so that a planted slope is the
    slope that the readings hold.
    """
    rng = stream("year", name)
    x = rng.standard_normal(len(YEARS))
    for i in range(1, len(x)):
        x[i] = correlation * x[i - 1] + np.sqrt(1 - correlation**2) * x[i]
    t = np.arange(len(x)) - (len(x) - 1) / 2
    x = x - x.mean() - t * np.dot(t, x) / np.dot(t, t)
    return dict(zip(YEARS, (x / x.std()).tolist(), strict=True))


@dataclass(frozen=True)
class Place:
    """A station as config/stations.csv gives it."""

    id: str
    name: str
    water: str
    latitude: float
    longitude: float
    bottom: float


def stations() -> dict[str, Place]:
    """Read config/stations.csv."""
    table = pd.read_csv(CONFIG / "stations.csv")
    return {
        str(r.id): Place(
            str(r.id),
            str(r.name_),
            str(r.water),
            float(r.latitude),
            float(r.longitude),
            float(r.bottom_depth_m),
        )
        for r in table.rename(columns={"name": "name_"}).itertuples()
    }


def waters() -> list[dict[str, object]]:
    """Read config/waters.toml."""
    with (CONFIG / "waters.toml").open("rb") as file:
        return list(tomllib.load(file)["water"])


def table_text(header: list[str], rows: list[list[object]], before: list[str] | None = None) -> str:
    """Return CSV text with newline ends; ``before`` are banner lines written as they are."""
    out = io.StringIO()
    for line in before or []:
        out.write(line + "\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def number(value: float, digits: int) -> str:
    """Return a number with fixed digits, or an empty text for NaN."""
    if not np.isfinite(value):
        return ""
    text = f"{value:.{digits}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text
