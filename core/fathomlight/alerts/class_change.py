"""Rule kind ``class-change``: the class of an index is another than the year before.

The classes come from the surroundings, one a station and year (:attr:`fathomlight.alerts.Context.classes`),
or are made here from the median of each year's readings in the rule's months with ``Context.classify``. With
a qualifier the median is only bounded; a year whose bounds fall in different classes has no class.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.tracks import Track, tracks


class ClassChangeRule(Rule):
    """The class of an index changed.

    Attributes
    ----------
    index : str
        Name of the index, as in the table of classes.
    hold_years : int
        Years in a row that the new class must be found before the episode opens.
    settle_years : int
        After so many years in the new class it is the usual one, and the episode is over. It is over, too,
        when the old class comes back.
    order : tuple of str
        Classes from the clearest to the murkiest; needed for ``towards``.
    towards : {"either", "murkier", "clearer"}
    min_readings : int
        Fewest readings of a year, when classes are made from readings.
    """

    kind: Literal["class-change"] = "class-change"
    index: Annotated[str, Field(min_length=1)]
    hold_years: Annotated[int, Field(ge=1)] = 1
    settle_years: Annotated[int, Field(ge=1)] = 3
    order: tuple[str, ...] = ()
    towards: Literal["either", "murkier", "clearer"] = "either"
    min_readings: Annotated[int, Field(ge=1)] = 3

    FIELDS: ClassVar[tuple[str, ...]] = ("before", "now", "year", "index")
    USUAL: ClassVar[str] = "{station}: {now} in {year}, {before} before ({index})."

    @model_validator(mode="after")
    def _ordered(self) -> ClassChangeRule:
        if self.towards != "either" and len(self.order) < 2:
            raise ValueError("give the order of the classes, from the clearest to the murkiest")
        if self.settle_years < self.hold_years:
            raise ValueError("settle_years must not be below hold_years")
        return self

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        out = []
        for station, years in self._classes(readings, context).items():
            out += self._at(station, years, context)
        return out

    def _classes(self, readings: pd.DataFrame, context: Context) -> dict[str, list[tuple[int, str]]]:
        """Return years and labels of each watched station, in order."""
        table = context.classes
        if table is not None:
            rows = table.loc[table["index"] == self.index].dropna(subset=["label"]).sort_values("year")
            rows = rows.loc[rows["label"] != ""]
            found: dict[str, list[tuple[int, str]]] = {}
            for station, year, label in zip(rows["station"], rows["year"], rows["label"], strict=True):
                known = context.stations.get(station)
                if known is not None and self.watches(known) and int(year) <= context.as_of.year:
                    found.setdefault(str(station), []).append((int(year), str(label)))
            return found
        if context.classify is None:
            return {}
        return {
            track.station: self._from_readings(track, context) for track in tracks(self, readings, context)
        }

    def _from_readings(self, track: Track, context: Context) -> list[tuple[int, str]]:
        assert context.classify is not None
        years = track.dates.astype("datetime64[Y]").astype(np.int64) + 1970
        out = []
        for year in np.unique(years).tolist():
            rows = years == year
            low, high = float(np.median(track.low[rows])), float(np.median(track.high[rows]))
            if rows.sum() < self.min_readings or not np.isfinite([low, high]).all():
                continue
            label = context.classify(self.index, low)
            if label and label == context.classify(self.index, high):
                out.append((int(year), label))
        return out

    def _wanted(self, before: str, now: str) -> bool:
        if self.towards == "either":
            return True
        if before not in self.order or now not in self.order:
            return False
        murkier = self.order.index(now) > self.order.index(before)
        return murkier == (self.towards == "murkier")

    def _known_at(self, year: int) -> pd.Timestamp:
        """Return the instant by which a year's class is known: the end of its last month, UTC."""
        month = max(self.months, default=12)
        return pd.Timestamp(np.datetime64((year - 1970) * 12 + month, "M").astype("datetime64[us]"), tz="UTC")

    def _at(self, station: str, years: list[tuple[int, str]], context: Context) -> list[Episode]:
        """Walk through runs of equal class; ``usual`` is the class that held before."""
        years = [(year, label) for year, label in years if self._known_at(year) <= context.as_of]
        out: list[Episode] = []
        usual = years[0][1] if years else ""
        i = 0
        while i < len(years):
            now = years[i][1]
            stop = next((k for k in range(i, len(years)) if years[k][1] != now), len(years))
            run, i = years[i:stop], stop
            if now == usual or len(run) < self.hold_years:
                continue
            settled = len(run) >= self.settle_years
            if self._wanted(usual, now):
                following = years[stop][0] if stop < len(years) else None
                end = run[self.settle_years - 1][0] if settled else following
                out.append(
                    self._episode(station, (usual, now), run[: self.settle_years], end, settled, context)
                )
            if settled:
                usual = now
        return out

    def _episode(
        self,
        station: str,
        classes: tuple[str, str],
        run: list[tuple[int, str]],
        end: int | None,
        settled: bool,
        context: Context,
    ) -> Episode:
        before, now = classes
        first = run[0][0]
        over = None if end is None else self._known_at(end)
        ending = "the new class is the usual one" if settled else "the class changed again"
        message = self.say(
            context, station, before=before, now=now, year=str(first), index=self.index, since=str(first)
        )
        return Episode(
            rule=self.id,
            kind=self.kind,
            severity=self.severity,
            station=station,
            parameter=self.parameter,
            began=self._known_at(first),
            opened=self._known_at(run[self.hold_years - 1][0]),
            last=self._known_at(run[-1][0]),
            over=over,
            ending="" if over is None else ending,
            message=message,
            evidence={"index": self.index, "before": before, "now": now, "years": [year for year, _ in run]},
        )
