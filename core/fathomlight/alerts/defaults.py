"""A set of rules to start from; the package's own text shows the same as a rules file."""

from __future__ import annotations

from typing import Any

from fathomlight.alerts.registry import parse_rules
from fathomlight.alerts.rules import Rule

DEFAULT_TABLES: tuple[dict[str, Any], ...] = (
    {
        "id": "murky-disc",
        "kind": "limit",
        "parameter": "secchi",
        "below": 1.0,
        "clear": 1.3,
        "consecutive": 2,
        "months": [5, 6, 7, 8, 9, 10],
        "severity": "look",
    },
    {
        "id": "murkier-than-usual",
        "kind": "percentile",
        "parameter": "secchi",
        "side": "murkier",
        "low": 10,
        "clear_low": 25,
        "consecutive": 2,
        "severity": "look",
    },
    {
        "id": "clarity-falling",
        "kind": "rate",
        "parameter": "secchi",
        "direction": "fall",
        "per_week": 1.0,
        "clear_per_week": 0.3,
        "severity": "note",
    },
    {
        "id": "warm-water",
        "kind": "limit",
        "parameter": "temperature",
        "depth": [0, 2],
        "above": 25.0,
        "clear": 24.0,
        "for_hours": 48,
        "max_gap_hours": 6,
        "suspect": "ignore",
        "severity": "look",
    },
    {
        "id": "trophic-class",
        "kind": "class-change",
        "index": "tsi_secchi",
        "months": [6, 7, 8, 9],
        "hold_years": 2,
        "severity": "look",
    },
    {
        "id": "clarity-trend",
        "kind": "trend",
        "parameter": "secchi",
        "false_discovery": 0.05,
        "severity": "look",
    },
    {"id": "visit-overdue", "kind": "overdue", "parameter": "secchi", "grace_days": 3, "severity": "note"},
    {
        "id": "logger-silent",
        "kind": "silent",
        "parameter": "temperature",
        "silent_hours": 12,
        "flat_hours": 72,
        "eps": 0.0,
        "severity": "act",
        "message": "{station}: the logger {what} since {since}. Look after it when it is safe to go.",
    },
)


def default_rules() -> tuple[Rule, ...]:
    """Return the rules to start from.

    Returns
    -------
    tuple of Rule
        Limits are a place to start, not a standard: choose them with :func:`fathomlight.alerts.replay`.

    Examples
    --------
    >>> [rule.id for rule in default_rules()][:2]
    ['murky-disc', 'murkier-than-usual']
    """
    return parse_rules(DEFAULT_TABLES, "the default rules")
