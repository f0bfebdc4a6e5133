"""The 15-minute logger of the river reach: storms, spikes, a stuck sensor, and a hole in the record."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .base import number, stream
from .clarity import river_truth
from .sheets import Rows
from .weather import surface

STATION = "RIV-1"
FIRST, LAST = "2025-04-15 00:00", "2025-09-27 22:45"  # station standard time, UTC-6 all year
SPIKES = ("2025-05-12 09:30", "2025-06-28 17:15", "2025-08-19 04:45")
STUCK = ("2025-07-20 08:00", "2025-07-20 15:45")
HOLE = ("2025-08-10 06:00", "2025-08-11 13:45")
FNU_PER_NTU = 0.85
HEADER = ["Time (UTC)", "Turbidity (FNU)", "Water temperature (degC)", "Battery (V)"]
BANNER = [
    "# Invented demo data. No real river, station or instrument.",
    "# Logger 17, old ferry, infrared turbidity sensor, one line every 15 minutes",
    "# Times are UTC",
]


def rows() -> Rows:
    """Return the lines of the logger file."""
    rng = stream("logger")
    times = pd.date_range(FIRST, LAST, freq="15min")
    fnu = FNU_PER_NTU * river_truth(STATION, times)
    fnu = fnu * (1 + 0.02 * rng.standard_normal(len(times)))
    for when in SPIKES:
        fnu[times.get_loc(pd.Timestamp(when))] *= rng.uniform(18, 30)
    stuck = (times >= STUCK[0]) & (times <= STUCK[1])
    fnu[stuck] = fnu[np.flatnonzero(stuck)[0]]
    daily = {d: surface("grumblewash", d) for d in times.normalize().unique()}
    hour = np.asarray(times.hour + times.minute / 60)
    days = np.array([d.value for d in daily], dtype=float)
    noon = days + 12 * 3600e9
    at = times.values.astype("datetime64[ns]").astype("int64").astype(float)
    smooth = np.interp(at, noon, np.array(list(daily.values())))
    temperature = smooth + 0.9 * np.sin(2 * np.pi * (hour - 10) / 24) + 0.04 * rng.standard_normal(len(times))
    battery = 13.1 - 0.9 * np.linspace(0, 1, len(times)) + 0.1 * np.sin(2 * np.pi * (hour - 8) / 24)
    utc = times + pd.Timedelta(hours=6)
    keep = ~((times >= HOLE[0]) & (times <= HOLE[1]))
    return [
        [f"{t:%Y-%m-%dT%H:%M:00Z}", number(f, 1), number(c, 1), number(b, 1)]
        for t, f, c, b in zip(utc[keep], fnu[keep], temperature[keep], battery[keep], strict=True)
    ]
