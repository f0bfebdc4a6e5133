"""Rule kind ``overdue``: no reading for longer than the station's schedule, inside the open-water season.

Days outside the rule's months (or, when it names none, outside the months without ice) do not count: nobody
is late in January, and each season the count begins anew. A reading of any quality is a visit. Each pause too
long becomes one episode, from the day after the reading was due to the reading that came.
"""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import CLEARED, SEASON_ENDED, Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.tracks import Times, segment_end, segments, tracks
from fathomlight.model import Flag

DAY = np.timedelta64(1, "D")
VISITS = (Flag.PASS, Flag.NOT_EVALUATED, Flag.SUSPECT, Flag.FAIL)


class OverdueRule(Rule):
    """No reading for longer than planned.

    Attributes
    ----------
    grace_days : float
        Added to the schedule [d].
    schedule_days : float or None
        Instead of the schedule of each station [d].
    """

    kind: Literal["overdue"] = "overdue"
    parameter: Annotated[str, Field(min_length=1)]
    severity: Literal["note", "look", "act"] = "note"
    grace_days: Annotated[float, Field(ge=0)] = 0.0
    schedule_days: Annotated[float, Field(gt=0)] | None = None

    FIELDS: ClassVar[tuple[str, ...]] = ("last_day", "due_day", "schedule")
    USUAL: ClassVar[str] = "{station}: {parameter} last read on {last_day}; the next was due by {due_day}."

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes in the readings; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        dates: dict[str, list[Times]] = {}
        for track in tracks(self, readings, context, flags=VISITS, season=False):
            dates.setdefault(track.station, []).append(track.dates.astype("datetime64[D]"))
        return [
            e for station in sorted(dates) for e in self._at(station, np.concatenate(dates[station]), context)
        ]

    def _at(self, station: str, dates: Times, context: Context) -> list[Episode]:
        schedule = (
            self.schedule_days if self.schedule_days is not None else context.stations[station].schedule_days
        )
        allowed = np.timedelta64(math.floor(schedule + self.grace_days), "D")
        today = np.datetime64(context.until(station).tz_convert(context.timezone(station)).date(), "D")
        visits = np.unique(dates[dates <= today])
        following = np.append(visits[1:], today + DAY)
        out = []
        for i in np.flatnonzero(following - visits > allowed).tolist():
            back = visits[i + 1] if i + 1 < len(visits) else None
            for first, last in _season_parts(visits[i], following[i], self.months or context.open_water):
                opened = max(first - DAY, visits[i]) + allowed + DAY
                if opened <= last and (back is None or opened < back) and opened <= today:
                    end, ending = (last + DAY, SEASON_ENDED) if last + DAY < following[i] else (back, CLEARED)
                    facts = (visits[i], opened, end, ending if end is not None else "")
                    out.append(self._episode(station, facts, schedule, context))
        return out

    def _episode(
        self,
        station: str,
        facts: tuple[np.datetime64, np.datetime64, np.datetime64 | None, str],
        schedule: float,
        context: Context,
    ) -> Episode:
        visit, opened, end, ending = facts
        zone = context.timezone(station)
        began, start = _midnight(visit, zone), _midnight(opened, zone)
        over = None if end is None else _midnight(end, zone)
        due_day = (
            opened - DAY - np.timedelta64(math.floor(schedule + self.grace_days) - math.floor(schedule), "D")
        )
        due = _midnight(due_day, zone)
        message = self.say(
            context,
            station,
            last_day=context.day(station, began),
            due_day=context.day(station, due),
            schedule=f"{schedule:g} days",
            since=context.day(station, began),
        )
        return Episode(
            rule=self.id,
            kind=self.kind,
            severity=self.severity,
            station=station,
            parameter=self.parameter,
            began=start,
            opened=start,
            last=start,
            over=over,
            ending=ending,
            message=message,
            evidence={
                "last_reading": str(visit),
                "due": str(due_day),
                "schedule_days": schedule,
                "grace_days": self.grace_days,
            },
        )


def _season_parts(
    visit: np.datetime64, following: np.datetime64, months: tuple[int, ...]
) -> list[tuple[np.datetime64, np.datetime64]]:
    """Return first and last day of each season that a pause touches; the last may lie beyond it."""
    calendar = np.arange(visit, following)
    numbers = segments(calendar, months)
    out = []
    for number in np.unique(numbers[numbers >= 0]):
        days = calendar[numbers == number]
        end = segment_end(int(number), months, "UTC")
        last = days[-1] if end is None else np.datetime64(end.date(), "D") - DAY
        out.append((days[0], last))
    return out


def _midnight(day: np.datetime64, zone: str) -> pd.Timestamp:
    local = pd.Timestamp(day.astype("datetime64[us]"))
    stamp: pd.Timestamp = local.tz_localize(zone, ambiguous=False, nonexistent="shift_forward").tz_convert(
        "UTC"
    )
    return stamp.as_unit("us")
