"""The settings in force, in plain words: what the page Settings says of them."""

from __future__ import annotations

import calendar
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from fathomlight.figures.shown import MONTHS, Units, count_text, parameter_number, shown_unit, to_shown
from fathomlight.model import Parameter

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

UNITS = {"metric": "metres and °C", "us": "feet and °F"}
NOBODY = {"nobody": "may not even look", "reader": "may look", "volunteer": "may look and add readings"}


def months_text(months: Iterable[int]) -> str:
    """Return months as people say them.

    Examples
    --------
    >>> months_text([5, 6, 7, 8]), months_text([12, 1, 2]), months_text([4, 6]), months_text([])
    ('May to Aug', 'Dec to Feb', 'Apr, Jun', 'all year')
    """
    chosen = sorted(set(months))
    if not chosen or len(chosen) == 12:
        return "all year"
    starts = [m for m in chosen if (m - 2) % 12 + 1 not in chosen]
    if len(starts) == 1 and len(chosen) > 1:
        last = (starts[0] + len(chosen) - 2) % 12
        return f"{MONTHS[starts[0] - 1]} to {MONTHS[last]}"
    return ", ".join(MONTHS[m - 1] for m in chosen)


def schedule_text(days: float) -> str:
    """Return how often a station is to be read.

    Examples
    --------
    >>> schedule_text(14.0), schedule_text(1), schedule_text(0.25)
    ('every 14 days', 'every day', 'every 6 hours')
    """
    if days == 1:
        return "every day"
    return f"every {days:g} days" if days > 1 else f"every {days * 24:g} hours"


def where_text(ws: Workspace, rule: Any) -> str:
    """Return where a rule looks."""
    names = [ws.waters[w].name if w in ws.waters else w for w in rule.waters]
    names += [ws.stations[s].name if s in ws.stations else s for s in rule.stations]
    return ", ".join(names) or "everywhere"


def rule_text(rule: Any, parameter: Parameter | None, units: Units) -> str:
    """Say in one sentence what opens an episode of a rule, and when it is over.

    Parameters
    ----------
    rule : fathomlight.alerts.Rule
        Any kind.
    parameter : Parameter or None
        What it watches.
    units : {"metric", "us"}
        Units of its limits.

    Returns
    -------
    str
        Without a full stop.
    """
    make = _KINDS.get(rule.kind)
    text = make(rule, parameter, units) if make else rule.kind
    return text[:1].upper() + text[1:]


def _value(value: float, parameter: Parameter | None, units: Units) -> str:
    return parameter_number(value, parameter, units) if parameter else f"{value:g}"


def _name(rule: Any, parameter: Parameter | None) -> str:
    return (parameter.label if parameter else rule.parameter).lower() or "reading"


def _in_a_row(rule: Any) -> str:
    return f" in {count_text(rule.consecutive, 'reading')} in a row" if rule.consecutive > 1 else ""


def _limit(rule: Any, parameter: Parameter | None, units: Units) -> str:
    side, limit = ("below", rule.below) if rule.below is not None else ("above", rule.above)
    long = f" for {rule.for_hours:g} hours" if rule.for_hours else _in_a_row(rule)
    text = f"{_name(rule, parameter)} {side} {_value(limit, parameter, units)}{long}"
    if rule.clear is None:
        return text
    back = "above" if side == "below" else "below"
    return f"{text}; over when {back} {_value(rule.clear, parameter, units)}"


def ordinal(value: float) -> str:
    """Return a number as a place in an order.

    Examples
    --------
    >>> [ordinal(n) for n in (1, 2, 5, 11, 23, 97.5)]
    ['1st', '2nd', '5th', '11th', '23rd', '97.5th']
    """
    last = value % 10 if value == int(value) and value % 100 not in (11, 12, 13) else 0
    return f"{value:g}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(int(last), 'th') }"


def _percentile(rule: Any, parameter: Parameter | None, units: Units) -> str:
    clearer = parameter.clearer if parameter else None
    below = above = True
    if rule.side in ("lower", "higher"):
        below, above = rule.side == "lower", rule.side == "higher"
    elif rule.side != "either" and clearer:
        below = (clearer == "higher") == (rule.side == "murkier")
        above = not below
    ends = [f"below the {ordinal(rule.low)}"] * below + [f"above the {ordinal(rule.high)}"] * above
    side = f" {rule.side} than usual," if rule.side in ("murkier", "clearer") else ""
    return (
        f"{_name(rule, parameter)}{side} {' or '.join(ends)} percentile of the station's own readings within "
        f"{rule.window_days} days of the day of year{_in_a_row(rule)}"
    )


def _change(value: float, parameter: Parameter | None, units: Units) -> str:
    """Return a difference of values with its unit."""
    unit = parameter.unit if parameter else ""
    shown = float(to_shown(value, unit, units, difference=True))
    return f"{shown:.2g} {shown_unit(unit, units)}".strip()


def _rate(rule: Any, parameter: Parameter | None, units: Units) -> str:
    way = {"fall": "falls", "rise": "rises"}.get(rule.direction, "changes")
    return f"{_name(rule, parameter)} {way} by more than {_change(rule.per_week, parameter, units)} a week"


def _class_change(rule: Any, parameter: Parameter | None, units: Units) -> str:
    return f"another class of an index than before, {count_text(rule.hold_years, 'year')} in a row"


def _trend(rule: Any, parameter: Parameter | None, units: Units) -> str:
    text = f"a trend of {_name(rule, parameter)} is newly sure (at most {rule.false_discovery:.0%} false discoveries)"
    if rule.min_slope:
        text += f", at least {_change(rule.min_slope, parameter, units)} a year"
    return text


def _overdue(rule: Any, parameter: Parameter | None, units: Units) -> str:
    usual = schedule_text(rule.schedule_days) if rule.schedule_days else "the station's schedule"
    grace = f"{rule.grace_days:g} days past " if rule.grace_days else "past "
    return f"no reading of {_name(rule, parameter)}, {grace}{usual}"


def _silent(rule: Any, parameter: Parameter | None, units: Units) -> str:
    parts = []
    if rule.silent_hours:
        parts.append(f"sends nothing for {rule.silent_hours:g} hours")
    if rule.flat_hours:
        parts.append(f"sends the same for {rule.flat_hours:g} hours")
    return f"the logger of {_name(rule, parameter)} " + " or ".join(parts)


_KINDS: dict[str, Callable[[Any, Parameter | None, Units], str]] = {
    "limit": _limit,
    "percentile": _percentile,
    "rate": _rate,
    "class-change": _class_change,
    "trend": _trend,
    "overdue": _overdue,
    "silent": _silent,
}


def summary(ws: Workspace) -> list[tuple[str, str]]:
    """Return the general settings: what, and how it is set."""
    config = ws.config
    today = f"{ws.as_of.day} {calendar.month_abbr[ws.as_of.month]} {ws.as_of.year}"
    how = "set in workspace.toml" if config.as_of else "the day of the clock"
    file = "://" not in config.store_url
    login = config.login
    people = "on: see the roles below" if login.enabled else "off: one person, who may do everything"
    rows = [
        ("Name", ws.name),
        ("Waters and readings", "invented; every page says so" if ws.invented else "real"),
        (
            "Values are shown in",
            f"{UNITS[ws.units]} unless a reader chooses otherwise; the store stays metric",
        ),
        ("Today is taken as", f"{today} ({how})"),
        ("Readings are kept in", "a file of the workspace" if file else "a PostgreSQL database"),
        ("Seasons", "; ".join(f"{s.name}: {months_text(s.months)}" for s in ws.seasons.seasons)),
        ("Growing season", months_text(config.growing_season)),
        ("Open water", months_text(config.open_water)),
        ("A reading is usual", _standing(config.standing)),
        ("Login", people),
    ]
    if login.enabled:
        rows += [
            ("People who have not logged in", NOBODY[login.public]),
            ("People who have, and are not named", NOBODY[login.unknown]),
        ]
    return rows


def _standing(standing: Any) -> str:
    return (
        f"between the {ordinal(standing.low)} and the {ordinal(standing.high)} percentile of its station's readings "
        f"within {standing.window_days} days of the day of year, over at least {standing.min_years} earlier years"
    )
