"""Rule kinds by name, and rules from the tables of a rules file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from fathomlight.alerts.class_change import ClassChangeRule
from fathomlight.alerts.limit import LimitRule
from fathomlight.alerts.overdue import OverdueRule
from fathomlight.alerts.percentile import PercentileRule
from fathomlight.alerts.rate import RateRule
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.silent import SilentRule
from fathomlight.alerts.trend import TrendRule
from fathomlight.errors import ConfigError

KINDS: dict[str, type[Rule]] = {
    str(model.model_fields["kind"].default): model
    for model in (LimitRule, PercentileRule, RateRule, ClassChangeRule, TrendRule, OverdueRule, SilentRule)
}
"""Rule kind to model."""

AnyRule = Annotated[
    LimitRule | PercentileRule | RateRule | ClassChangeRule | TrendRule | OverdueRule | SilentRule,
    Field(discriminator="kind"),
]
"""Any rule, told by its ``kind``."""
_ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyRule)


class RulesFile(BaseModel):
    """A rules file: a list of tables ``[[rule]]``, each with a different id."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    rule: tuple[AnyRule, ...] = ()

    @model_validator(mode="after")
    def _different_ids(self) -> RulesFile:
        ids = [rule.id for rule in self.rule]
        twice = sorted({name for name in ids if ids.count(name) > 1})
        if twice:
            raise ValueError(f"two rules have one id: {', '.join(twice)}")
        return self


def parse_rules(tables: Iterable[Mapping[str, Any]], where: str = "alerts.toml") -> tuple[Rule, ...]:
    """Check the tables of a rules file.

    Parameters
    ----------
    tables : iterable of mapping
        One a rule.
    where : str
        The file, for the errors.

    Returns
    -------
    tuple of Rule

    Raises
    ------
    fathomlight.errors.ConfigError
        Naming file, rule and key.

    Examples
    --------
    >>> parse_rules([{"id": "murky", "kind": "limit", "parameter": "secchi", "below": 1}])[0].below
    1.0
    >>> parse_rules([{"id": "murky", "kind": "limit", "parameter": "secchi", "belwo": 1}])
    Traceback (most recent call last):
    ...
    fathomlight.errors.ConfigError: unknown key (at alerts.toml: rule 1 (murky), key belwo; got 1; ...
    """
    rules: list[Rule] = []
    for position, table in enumerate(tables, 1):
        name = f" ({table['id']})" if isinstance(table, Mapping) and "id" in table else ""
        place = f"{where}: rule {position}{name}"
        try:
            rule: Rule = _ADAPTER.validate_python(table)
        except ValidationError as error:
            raise _config_error(error, place, table) from None
        if rule.id in {other.id for other in rules}:
            raise ConfigError(
                "two rules have one id", where=f"{place}, key id", got=rule.id, fix="Rename one of them."
            )
        rules.append(rule)
    return tuple(rules)


def _config_error(error: ValidationError, place: str, table: Any) -> ConfigError:
    first = error.errors()[0]
    path = [str(part) for part in first["loc"] if part not in KINDS]
    key = ".".join(path)
    if first["type"] in {"union_tag_invalid", "union_tag_not_found"}:
        got = table.get("kind") if isinstance(table, Mapping) else table
        return ConfigError(
            "unknown kind of rule", where=f"{place}, key kind", got=got, expected=", ".join(KINDS)
        )
    where = f"{place}, key {key}" if key else place
    if first["type"] == "extra_forbidden":
        fields = KINDS[table["kind"]].model_fields if table.get("kind") in KINDS else {}
        return ConfigError(
            "unknown key", where=where, got=first["input"], expected=f"one of {', '.join(fields)}"
        )
    if first["type"] == "missing":
        return ConfigError("a key is missing", where=where)
    text = first["msg"].removeprefix("Value error, ")
    return ConfigError(text, where=where, got=first["input"])
