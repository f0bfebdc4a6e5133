"""Quality control: the QARTOD tests, one per file, and the one precedence that joins them.

Flags are those of IOC Manuals & Guides 54, volume 3 (2013): 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9
missing. The rules are those of the QARTOD manuals of the US Integrated Ocean Observing System (2016, 2017,
2020). Four places where the manuals are open, and what is done here:

1. *The newest reading has no right-hand neighbour.* The spike test leaves it at 2 until the next reading
   arrives; so do the first reading and the readings beside a missing value, a limit or a gap.
2. *Flat line: the text counts the five most recent values, the code compares the newest with five before it.*
   We follow the text (``flat_line.counting = "values"``); ``"previous"`` follows the code. Only the newest
   reading of a run is flagged, as in real time; ``flat_line.flag_points = "run"`` flags the whole run.
3. *Rate of change: the spread of the values or of their first differences.* The values by default
   (``rate_of_change.sd_of = "values"``); ``"differences"`` is the other. The window ends with the reading
   before.
4. *A step does not say which of its two readings is wrong.* The later one is flagged
   (``rate_of_change.flag_points = "later"``); ``"both"`` flags the two.

A table of a parameter file, as :meth:`QualitySettings.from_table` takes it::

    [temperature.quality]
    series = "auto"                    # "logger", "visits", or told from the median pause
    gap = { hours = 1 }
    gross_range = { fail = [-5, 45], suspect = [0, 32] }
    climatology = { jun = [8, 28], jul = [12, 30], aug = [12, 30] }
    spike = { rule = "two-difference", low = 1.0, high = 3.0 }
    rate_of_change = { n_dev = 3, window_hours = 25, min_change = 0.2 }
    flat_line = { eps = 0.01, suspect = 12, fail = 48 }
    attenuated = { hours = 12, statistic = "range", suspect = 0.05, fail = 0.02 }

A weekly disc reading has no use for the last four: they are not run on visits.
"""

from fathomlight.quality.flags import QualityResult, qartod_flags
from fathomlight.quality.frame import flag_frame
from fathomlight.quality.precedence import SERIAL_TESTS, TESTS, effective_flag, roll_up
from fathomlight.quality.settings import (
    AttenuatedSettings,
    ClimateWindow,
    ClimatologySettings,
    FlatLineSettings,
    GapSettings,
    GrossRangeSettings,
    NeighbourSettings,
    QualitySettings,
    RateOfChangeSettings,
    SpikeSettings,
)

__all__ = [
    "SERIAL_TESTS",
    "TESTS",
    "AttenuatedSettings",
    "ClimateWindow",
    "ClimatologySettings",
    "FlatLineSettings",
    "GapSettings",
    "GrossRangeSettings",
    "NeighbourSettings",
    "QualityResult",
    "QualitySettings",
    "RateOfChangeSettings",
    "SpikeSettings",
    "effective_flag",
    "flag_frame",
    "qartod_flags",
    "roll_up",
]
