"""Rules over the readings, and the episodes they open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pandas as pd

from fathomlight.alerts import Changes, Context, Episode, Replay, Rule, evaluate_all, merge, replay
from fathomlight.alerts.sentence import retell
from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import EQUAL, MEASURED
from fathomlight.units import System, display_units, to_display
from fathomlight.workspace.change import LEAST_YEARS, Change
from fathomlight.workspace.meaning import Meaning

EPISODE_COLUMNS = (
    "key", "state", "severity", "station", "name", "water", "parameter", "rule", "kind", "aspect", "message",
    "message_units", "opened",
    "last", "over", "ending", "n_readings", "peak", "peak_time", "seen_by", "seen_at", "seen_note",
)  # fmt: skip


class Attention(Change, Meaning):
    """What needs attention today."""

    def rule(self, rule: str) -> Rule:
        """Return one rule, or say which there are."""
        for candidate in self.rules:
            if candidate.id == rule:
                return candidate
        raise NotFoundError(
            "there is no rule of this name", got=rule, expected=f"one of {', '.join(r.id for r in self.rules)}",
            fix="Rules are the [[rule]] tables of config/alerts.toml.",
        )  # fmt: skip

    def _context(self, rules: tuple[Rule, ...]) -> Context:
        kinds = {r.kind: r for r in rules if r.enabled}
        return Context(
            as_of=self._as_of or dt.datetime.now(dt.UTC),
            stations=self.stations,
            waters=self.waters,
            parameters=self.parameters,
            open_water=self.config.open_water,
            trends=self._all_trends(rules) if "trend" in kinds else None,
            classes=self._all_classes(rules) if "class-change" in kinds else None,
            show=self.show_value,
            show_change=self.show_change,
        )

    def _all_trends(self, rules: tuple[Rule, ...]) -> pd.DataFrame:
        names = sorted({r.parameter for r in rules if r.kind == "trend" and r.enabled})
        parts = [self.trends(n).assign(parameter=n) for n in names]
        table = pd.concat(parts, ignore_index=True)
        table = table[table["n_years"] >= LEAST_YEARS].reset_index(drop=True)
        latest = self.counts().set_index(["station", "parameter"])["last"]
        table["through"] = [latest.get((r.station, r.parameter)) for r in table.itertuples()]
        return table

    def _rule_readings(self, rules: tuple[Rule, ...]) -> pd.DataFrame:
        names = sorted({r.parameter for r in rules if r.parameter})
        columns = ("station", "parameter", *MEASURED)
        return self.readings(parameter=names or None, end=self._tonight(), columns=columns)

    def evaluate_alerts(self) -> Changes:
        """Run every rule and store what changed; running it again changes nothing.

        Returns
        -------
        fathomlight.alerts.Changes
            Episodes opened, going on, ended, amended.
        """
        self.require("volunteer", "running the rules")
        found = evaluate_all(self.rules, self._rule_readings(self.rules), self._context(self.rules))
        version = self.store.episodes_version()
        changes = merge(
            self._stored_episodes(), found, as_of=self.as_of, in_use={r.id for r in self.rules if r.enabled}
        )
        if changes.any:
            self.store.save_episodes(
                [e.to_dict() for e in changes.episodes], who="rules", expected_version=version
            )
        return changes

    def _stored_episodes(self) -> list[Episode]:
        return [Episode.from_dict(d) for d in self.store.episode_records()]

    def told(self, episode: Episode, units: System | None = None) -> tuple[str, str]:
        """Say what an episode is about.

        Parameters
        ----------
        episode : Episode
            Any.
        units : {"metric", "us"}, optional
            Those of the workspace when left out.

        Returns
        -------
        str, str
            The sentence, and its units; empty when the episode was found before its numbers were kept: then the
            sentence stands as it was written.
        """
        shown = units or self.units
        if not episode.parts:
            return episode.message, ""
        return retell(episode.parts, lambda part: self._quantity(part, shown)), shown

    def _quantity(self, part: Mapping[str, Any], units: System) -> str:
        name, value = str(part["parameter"]), float(part["value"])
        if part["kind"] == "depth":
            return f"{to_display(value, 'm', units):.3g} {display_units(units)['m'].unit}"
        if name not in self.parameters:
            return f"{value:g}"
        if part["kind"] == "change":
            return self.show_change(name, value, units)
        sign = "" if part["qualifier"] == EQUAL else f"{part['qualifier']} "
        return sign + self.show_value(name, value, units)

    def episodes(
        self, state: str | None = None, station: str | None = None, units: System | None = None
    ) -> pd.DataFrame:
        """Return episodes as a table, the gravest and newest first.

        Parameters
        ----------
        state : {"open", "seen", "over"}, optional
            All when left out.
        station : str, optional
            Only those of this station.
        units : {"metric", "us"}, optional
            Units of the sentences; those of the workspace when left out.

        Returns
        -------
        pandas.DataFrame
            One row an episode; ``message_units`` is empty where the sentence stands in the units in which it was
            found, see :meth:`told`.
        """
        chosen = [e for e in self._stored_episodes() if state is None or e.state == state]
        if station is not None:
            where = self.station(station).id
            chosen = [e for e in chosen if e.station == where]
        rank = {"act": 0, "look": 1, "note": 2}
        chosen.sort(key=lambda e: (e.state == "over", rank.get(e.severity, 3), -e.opened.value))
        rows = []
        for e in chosen:
            place = self.stations.get(e.station)
            row = {name: getattr(e, name, None) for name in EPISODE_COLUMNS}
            row["message"], row["message_units"] = self.told(e, units)
            rows.append(
                {**row, "name": place.name if place else e.station, "water": place.water if place else ""}
            )
        return self.without_people(pd.DataFrame(rows, columns=list(EPISODE_COLUMNS)))

    def episode(self, key: str) -> Episode:
        """Return one episode with its evidence and trace."""
        for e in self._stored_episodes():
            if e.key == key:
                return e
        raise NotFoundError("there is no such episode", got=key)

    def mark_seen(self, key: str, note: str = "") -> Episode:
        """Say that an open episode has been seen, by whoever opened this workspace.

        Parameters
        ----------
        key : str
            Key of the episode.
        note : str
            What was seen or done.

        Returns
        -------
        Episode
            As it is now.

        Raises
        ------
        fathomlight.errors.ArgumentError
            The episode is over.
        """
        station = self.stations.get(self.episode(key).station)
        self.require("reviewer", "marking an episode as seen", {station.water} if station else ())
        if self.episode(key).state == "over":
            raise ArgumentError("key", "the episode is over", got=key)
        self.store.mark_seen(key, self.actor, note)
        self.audit("seen", {"episode": key, "note": note})
        return self.episode(key)

    def try_rule(self, rule: str, since: Any) -> Replay:
        """Say how often a rule would have fired since a date.

        Parameters
        ----------
        rule : str
            Id of the rule.
        since : date
            Start of the stretch.

        Returns
        -------
        fathomlight.alerts.Replay
            Counts by year and station, days open, a sentence.
        """
        chosen = self.rule(rule)
        return replay(chosen, self._rule_readings((chosen,)), since, context=self._context((chosen,)))
