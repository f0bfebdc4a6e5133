"""Rule kind ``trend``: a trend is newly sure, among many stations looked at.

Takes results of trend tests, computes none. Looking at fifty stations finds two or three "sure" trends by
chance alone: the share of false discoveries among those named is held at ``false_discovery`` (Benjamini, Y. &
Y. Hochberg, 1995, Controlling the false discovery rate, J. R. Stat. Soc. B 57:289-300). All stations of the
parameter enter the correction, also those the rule does not watch.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field

from fathomlight.alerts.context import Context, as_instant
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.rules import Rule
from fathomlight.errors import ArgumentError


class TrendRule(Rule):
    """A trend is newly sure.

    Attributes
    ----------
    false_discovery : float
        Share of false ones among the trends named, 0 to 1.
    direction : {"either", "increasing", "decreasing"}
    min_slope : float
        Smallest slope worth naming, by its size [unit/year].
    """

    kind: Literal["trend"] = "trend"
    parameter: Annotated[str, Field(min_length=1)]
    false_discovery: Annotated[float, Field(gt=0, lt=1)] = 0.05
    direction: Literal["either", "increasing", "decreasing"] = "either"
    min_slope: Annotated[float, Field(ge=0)] = 0.0

    FIELDS: ClassVar[tuple[str, ...]] = ("direction", "slope", "p", "p_adjusted", "n_stations", "likelihood")
    USUAL: ClassVar[str] = (
        "{station}: {parameter} is {direction}, {slope} a year (p {p_adjusted} among {n_stations} stations)."
    )

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return one episode for every station whose trend is sure today; readings are not used."""
        table = context.trends
        if table is None or table.empty:
            return []
        lost = [
            name for name in ("station", "parameter", "p", "slope", "direction") if name not in table.columns
        ]
        if lost:
            raise ArgumentError("context.trends", "columns are missing", got=", ".join(lost))
        rows = table.loc[(table["parameter"] == self.parameter) & table["p"].notna()].reset_index(drop=True)
        if rows.empty:
            return []
        rows["p_adjusted"] = adjusted(rows["p"].to_numpy(dtype=float))
        sure = (rows["p_adjusted"] <= self.false_discovery) & (rows["slope"].abs() >= self.min_slope)
        sure &= rows["direction"].isin(("increasing", "decreasing"))
        if self.direction != "either":
            sure &= rows["direction"] == self.direction
        return [
            self._episode(row, len(rows), context)
            for row in rows.loc[sure].sort_values("station").to_dict("records")
            if row["station"] in context.stations and self.watches(context.stations[row["station"]])
        ]

    def _episode(self, row: dict[Any, Any], n_stations: int, context: Context) -> Episode:
        station = str(row["station"])
        through = row.get("through")
        when = (
            context.as_of if through is None or pd.isna(through) else min(as_instant(through), context.as_of)
        )
        message = self.say(
            context,
            station,
            direction=str(row["direction"]),
            slope=context.change(self.parameter, float(row["slope"])),
            p=f"{row['p']:.3g}",
            p_adjusted=f"{row['p_adjusted']:.3g}",
            n_stations=str(n_stations),
            likelihood=str(row.get("likelihood") or ""),
        )
        evidence = {
            "p": float(row["p"]),
            "p_adjusted": float(row["p_adjusted"]),
            "slope_per_year": float(row["slope"]),
            "direction": str(row["direction"]),
            "stations_tested": n_stations,
            "false_discovery": self.false_discovery,
        }
        return Episode(
            rule=self.id,
            kind=self.kind,
            severity=self.severity,
            station=station,
            parameter=self.parameter,
            aspect=str(row["direction"]),
            began=when,
            opened=when,
            last=when,
            n_readings=int(row["n"]) if "n" in row and not pd.isna(row["n"]) else 0,
            peak=float(row["slope"]),
            message=message,
            evidence=evidence,
            notes=("A sure trend says nothing of its cause.",),
            snapshot=True,
        )


def adjusted(p: np.ndarray) -> np.ndarray:
    """Return p values adjusted for the false discovery rate (Benjamini & Hochberg 1995).

    Parameters
    ----------
    p : ndarray, shape (n,)
        All between 0 and 1.

    Returns
    -------
    ndarray, shape (n,)

    Examples
    --------
    >>> adjusted(np.array([0.01, 0.02, 0.03, 0.5])).round(4).tolist()
    [0.04, 0.04, 0.04, 0.5]
    """
    from scipy import stats

    out: np.ndarray = stats.false_discovery_control(p, method="bh")
    return out
