"""Quiet episodes about suspect readings: not the rule itself, but "check this reading"."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import LISTED, Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.sentence import fill
from fathomlight.alerts.tracks import Bools, Track


def check_episodes(
    rule: Rule, context: Context, track: Track, fires: Bools, days: float = 30.0
) -> list[Episode]:
    """Make quiet episodes that ask to check suspect readings which would uphold a rule.

    Parameters
    ----------
    rule, context
    track : Track
        Suspect readings only.
    fires : ndarray of bool, shape (n,)
        Which of them would uphold the rule.
    days : float
        Suspect readings closer together [d] share one episode; it is over this long after the last of them.

    Returns
    -------
    list of Episode
        Severity ``note``, aspect ``check``.
    """
    track, pause = track.take(fires), np.timedelta64(int(days * 86_400_000_000), "us")
    if not track.n:
        return []
    groups = np.split(np.arange(track.n), np.flatnonzero(np.diff(track.times) > pause) + 1)
    return [_check(rule, context, track.take(rows), pd.Timedelta(days=days)) for rows in groups]


def _check(rule: Rule, context: Context, track: Track, wait: pd.Timedelta) -> Episode:
    first, last = track.instant(0), track.instant(track.n - 1)
    end = last + wait
    late = end <= context.as_of
    value = context.text(track.parameter, float(track.value[0]), str(track.qualifier[0]))
    day = context.day(track.station, first)
    if track.n == 1:
        what = "this reading: {value} on {day} is flagged suspect; if it is right, {rule} looks at it"
    else:
        what = (
            "these {n} readings, the first {value} on {day}: they are flagged suspect; "
            "if they are right, {rule} looks at them"
        )
    known = context.stations.get(track.station)
    name = known.name if known else track.station
    fields = {"station": name, "value": value, "day": day, "rule": rule.id, "n": track.n}
    return Episode(
        rule=rule.id,
        kind=rule.kind,
        severity="note",
        aspect="check",
        station=track.station,
        parameter=track.parameter,
        depth_m=track.depth_m,
        began=first,
        opened=first,
        last=last,
        over=end if late else None,
        ending="not checked in time" if late else "",
        n_readings=track.n,
        readings=tuple(track.instant(i) for i in range(min(track.n, LISTED))),
        peak=float(track.value[0]),
        peak_time=first,
        message=fill("{station}: check " + what + ".", fields),
        evidence={"flag": 3},
        notes=("Suspect readings open no episode of the rule itself.",),
    )
