"""Attention: rules that watch readings, and the episodes they find."""

from fathomlight.alerts.class_change import ClassChangeRule
from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import Changes, Episode, Trace, mark_seen, merge
from fathomlight.alerts.evaluate import Replay, evaluate, evaluate_all, replay
from fathomlight.alerts.limit import LimitRule
from fathomlight.alerts.overdue import OverdueRule
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
    "RateRule",
    "Replay",
    "Rule",
    "RulesFile",
    "SilentRule",
    "Trace",
    "TrendRule",
    "evaluate",
    "evaluate_all",
    "mark_seen",
    "merge",
    "parse_rules",
    "replay",
]
