"""Rules from tables: every error names file, rule and key; the documented file is the default set."""

from __future__ import annotations

import tomllib

import pytest

import fathomlight.alerts as alerts
from fathomlight.alerts import KINDS, LimitRule, RulesFile, default_rules, parse_rules
from fathomlight.errors import ConfigError

GOOD = {"id": "murky", "kind": "limit", "parameter": "secchi", "below": 1}


def test_the_documented_file_is_the_default_set():
    text = alerts.__doc__.split("start from::\n")[1]
    table = tomllib.loads("\n".join(line[4:] for line in text.splitlines()))
    assert RulesFile.model_validate(table).rule == default_rules()
    assert parse_rules(table["rule"]) == default_rules()
    assert {rule.kind for rule in default_rules()} == set(KINDS)


@pytest.mark.parametrize(
    ("change", "key", "word"),
    [
        ({"kind": "guess"}, ", key kind", "unknown kind of rule"),
        ({"belwo": 2}, ", key belwo", "unknown key"),
        ({"below": "low"}, ", key below", "number"),
        ({"above": 3}, "", "either below or above"),
        ({"clear": 0.5}, "", "clear must not be under"),
        ({"months": [13]}, ", key months.0", "12"),
        ({"severity": "loud"}, ", key severity", "'act'"),
        ({"message": "{value} at {place}"}, ", key message", "unknown field {place}"),
        ({"message": "{value.__class__}"}, ", key message", "unknown field"),
        ({"message": "{value"}, ", key message", "cannot be read"),
        ({"id": "Murky Disc"}, ", key id", "pattern"),
        ({"consecutive": 0}, ", key consecutive", "greater than or equal to 1"),
        ({"depth": [3, 1]}, "", "shallower first"),
    ],
)
def test_errors_name_file_rule_and_key(change, key, word):
    table = {**GOOD, **change}
    with pytest.raises(ConfigError) as caught:
        parse_rules([{**GOOD, "id": "first"}, table])
    assert caught.value.where == f"alerts.toml: rule 2 ({table['id']}){key}"
    assert word in str(caught.value)


def test_missing_kind_id_and_parameter():
    for lost, word in (("kind", "key kind"), ("parameter", "key parameter"), ("id", "key id")):
        with pytest.raises(ConfigError, match=word):
            parse_rules([{name: value for name, value in GOOD.items() if name != lost}])


def test_ids_are_different():
    with pytest.raises(ConfigError, match="two rules have one id"):
        parse_rules([GOOD, GOOD])
    with pytest.raises(ValueError, match="two rules have one id: murky"):
        RulesFile.model_validate({"rule": [GOOD, GOOD]})


def test_rules_are_frozen():
    (rule,) = parse_rules([GOOD])
    assert isinstance(rule, LimitRule)
    with pytest.raises(ValueError, match="frozen"):
        rule.below = 2


@pytest.mark.parametrize(
    ("table", "word"),
    [
        ({"kind": "percentile", "parameter": "secchi", "low": 30, "clear_low": 20}, "low <= clear_low"),
        ({"kind": "rate", "parameter": "secchi", "per_week": 1, "min_days": 20}, "min_days"),
        ({"kind": "rate", "parameter": "secchi", "per_week": 1, "clear_per_week": 2}, "clear_per_week"),
        ({"kind": "class-change", "index": "x", "towards": "murkier"}, "order of the classes"),
        ({"kind": "class-change", "index": "x", "hold_years": 4}, "settle_years"),
        ({"kind": "trend", "parameter": "secchi", "false_discovery": 1}, "less than 1"),
        ({"kind": "silent", "parameter": "temperature", "silent_hours": 0}, "greater than 0"),
    ],
)
def test_every_kind_checks_its_own(table, word):
    with pytest.raises(ConfigError) as caught:
        parse_rules([{"id": "one", **table}])
    assert word in str(caught.value)
