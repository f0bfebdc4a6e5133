"""Attention: rules that watch readings, and the episodes they find.

A rule looks at readings and finds *episodes*: stretches of time in which it asks for attention. One kind of
rule is one module. Everything here is pure: rules come as tables, readings as a table, the instant taken as
now as an argument.

=================  ===================================================================================
kind               opens an episode when
=================  ===================================================================================
``limit``          values are below or above a limit for some readings or hours; a limit of its own clears
``percentile``     a value is outside the station's own usual band for the time of year
``rate``           values change faster than so much per week
``class-change``   the class of an index is another than in the years before
``trend``          a trend is newly sure among many stations (false discoveries held down)
``overdue``        no reading came for longer than the station's schedule, in the season
``silent``         a logger sends nothing, or always the same
=================  ===================================================================================

What holds for all of them:

- Statistics use readings flagged pass or not evaluated. A suspect reading opens no episode of the rule; where
  the kind looks at single values it opens a quiet one that asks to check the reading (aspect ``check``,
  severity ``note``).
- A reading with a qualifier counts only when it is certain: ``> 1.5`` (seen on the bottom) never opens "below
  2.0".
- Evaluating again changes nothing. :func:`merge` joins what is found with what is known: late and corrected
  readings amend, end or re-open an episode, and its trace says so. Nothing is deleted.
- Without any reading for ``stale_days`` (90) an episode ends: nobody knows any more. So it does with the
  rule's months.
- The numbers below are a place to start. :func:`replay` says how often a rule would have fired on your own
  readings: choose limits from that.
- Clarity says nothing of whether water is safe to swim in or to drink; no rule here does.

A rules file to start from::

    [[rule]]
    id = "murky-disc"
    kind = "limit"
    parameter = "secchi"
    below = 1.0
    clear = 1.3                  # over only when clearly better
    consecutive = 2
    months = [5, 6, 7, 8, 9, 10]
    severity = "look"

    [[rule]]
    id = "murkier-than-usual"
    kind = "percentile"
    parameter = "secchi"
    side = "murkier"
    low = 10
    clear_low = 25
    consecutive = 2
    severity = "look"

    [[rule]]
    id = "clarity-falling"
    kind = "rate"
    parameter = "secchi"
    direction = "fall"
    per_week = 1.0
    clear_per_week = 0.3
    severity = "note"

    [[rule]]
    id = "warm-water"
    kind = "limit"
    parameter = "temperature"
    depth = [0, 2]
    above = 25.0
    clear = 24.0
    for_hours = 48
    max_gap_hours = 6
    suspect = "ignore"
    severity = "look"

    [[rule]]
    id = "trophic-class"
    kind = "class-change"
    index = "tsi_secchi"
    months = [6, 7, 8, 9]
    hold_years = 2
    severity = "look"

    [[rule]]
    id = "clarity-trend"
    kind = "trend"
    parameter = "secchi"
    false_discovery = 0.05
    severity = "look"

    [[rule]]
    id = "visit-overdue"
    kind = "overdue"
    parameter = "secchi"
    grace_days = 3
    severity = "note"

    [[rule]]
    id = "logger-silent"
    kind = "silent"
    parameter = "temperature"
    silent_hours = 12
    flat_hours = 72
    eps = 0.0
    severity = "act"
    message = "{station}: the logger {what} since {since}. Look after it when it is safe to go."
"""

from fathomlight.alerts.class_change import ClassChangeRule
from fathomlight.alerts.context import Context
from fathomlight.alerts.defaults import default_rules
from fathomlight.alerts.episodes import Changes, Episode, Trace, mark_seen, merge
from fathomlight.alerts.evaluate import Replay, evaluate, evaluate_all, replay
from fathomlight.alerts.limit import LimitRule
from fathomlight.alerts.overdue import OverdueRule
from fathomlight.alerts.percentile import PercentileRule
from fathomlight.alerts.rate import RateRule
from fathomlight.alerts.registry import KINDS, RulesFile, parse_rules
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.silent import SilentRule
from fathomlight.alerts.trend import TrendRule

__all__ = [
    "KINDS",
    "Changes",
    "ClassChangeRule",
    "Context",
    "Episode",
    "LimitRule",
    "OverdueRule",
    "PercentileRule",
    "RateRule",
    "Replay",
    "Rule",
    "RulesFile",
    "SilentRule",
    "Trace",
    "TrendRule",
    "default_rules",
    "evaluate",
    "evaluate_all",
    "mark_seen",
    "merge",
    "parse_rules",
    "replay",
]
