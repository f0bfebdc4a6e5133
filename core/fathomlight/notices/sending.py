"""Sending notices: each thing once, to each target, whatever fails and however many programs run."""

from __future__ import annotations

import datetime as dt
import logging
import os
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from fathomlight.config_notices import FILE, NoticeSettings, Target
from fathomlight.config_secrets import fill_in, redact
from fathomlight.errors import ConfigError, MissingExtraError
from fathomlight.model import Result
from fathomlight.notices.digest import Digest, Item, compose, due_items
from fathomlight.notices.settings import load_notices

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

UNSURE_AFTER_S = 3600.0
"""A claim this old [s] belongs to a program that is gone; whether it had sent is not known."""

Outcome = Literal["sent", "nothing new", "quiet hours", "would be sent", "failed", "off"]
Deliver = Callable[[str, Digest], str]
"""Given an address with its secrets and a digest: sends it, and returns what went wrong, empty when nothing did."""


@dataclass(frozen=True, kw_only=True)
class TargetRun(Result):
    """What happened for one target.

    Attributes
    ----------
    target, kind : str
        Its name, and ``email`` or ``webhook``.
    outcome : str
        sent, nothing new, quiet hours, would be sent (dry run), failed, off.
    n_items, attempts : int
        Things told, and tries it took.
    title, body : str
        The message.
    detail : str
        What went wrong; no secret is in it.
    """

    target: str
    kind: str
    outcome: Outcome
    n_items: int = 0
    attempts: int = 0
    title: str = ""
    body: str = ""
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class NoticeRun(Result):
    """What happened in one run: one entry a target, a sentence, and what to look at."""

    targets: tuple[TargetRun, ...]
    sentence: str
    notes: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether a target could not be reached."""
        return any(t.outcome == "failed" for t in self.targets)


def send_notices(
    ws: Workspace,
    *,
    settings: NoticeSettings | None = None,
    dry_run: bool = False,
    resend_unsure: bool = False,
    now: dt.datetime | None = None,
    environ: Mapping[str, str] | None = None,
    deliver: Deliver | None = None,
    sleep: Callable[[float], object] = time.sleep,
) -> NoticeRun:
    """Tell every target what it has not been told: one message a target and run.

    Parameters
    ----------
    ws : Workspace
        Its stored episodes are told; run its rules first.
    settings : NoticeSettings, optional
        Those of ``config/notices.toml`` when left out.
    dry_run : bool
        Say what would be sent; nothing is sent and nothing is written.
    resend_unsure : bool
        Also send what an earlier run claimed more than an hour ago and never finished.
    now : datetime.datetime, optional
        The moment, with its zone, for the quiet hours.
    environ : mapping of str to str, optional
        Where secrets come from; the environment of this process when left out.
    deliver : callable, optional
        How a message leaves; through apprise when left out.
    sleep : callable
        Waits between two tries.

    Returns
    -------
    NoticeRun
        One entry a target.

    Raises
    ------
    fathomlight.errors.ConfigError
        The file is wrong, or a secret is not in the environment; nothing was sent to anybody.
    fathomlight.errors.MissingExtraError
        Something is to be sent and the extra ``notify`` is not installed.

    Notes
    -----
    A thing is claimed in the store before it is sent, by exactly one program, and marked as sent after. What failed
    may be claimed again; what was sent never. A target that took a message but could not say so is asked again: the
    message then carries the same digest number.
    """
    plan = settings or load_notices(ws)
    env = os.environ if environ is None else environ
    moment = now or dt.datetime.now(dt.UTC)
    on = [t for t in plan.targets if t.enabled]
    # Every address is filled in before the first is used: a mistake in the last must not leave half a run.
    addresses = {t.name: "" if dry_run else fill_in(t.url, env, f"{FILE}: {t.name}.url") for t in on}
    episodes = ws.episodes()
    ledger = ws.store.notices()
    post = deliver or _through_apprise
    runs = []
    for target in plan.targets:
        if not target.enabled:
            runs.append(TargetRun(target=target.name, kind=target.kind, outcome="off"))
            continue
        items, waiting = _due(plan, target, episodes, ledger, moment)
        if not items:
            quiet: Outcome = "quiet hours" if waiting else "nothing new"
            runs.append(TargetRun(target=target.name, kind=target.kind, outcome=quiet, n_items=waiting))
            continue
        if dry_run:
            runs.append(_would(ws, target, episodes, [i for i in items if not _claimed(ledger, target, i)]))
            continue
        claimed = _claim(ws, target, items, UNSURE_AFTER_S if resend_unsure else None)
        runs.append(_send(ws, plan, target, addresses[target.name], episodes, claimed, env, post, sleep))
    return NoticeRun(targets=tuple(runs), sentence=_sentence(runs), notes=_notes(ledger, on))


def _due(
    plan: NoticeSettings, target: Target, episodes: pd.DataFrame, ledger: pd.DataFrame, moment: dt.datetime
) -> tuple[list[Item], int]:
    """Return what is to be told now, and how many things wait for the end of the quiet hours."""
    here = ledger[ledger["channel"] == target.name]
    items = due_items(episodes, target, set(here.loc[here["state"] == "sent", "key"]))
    if plan.quiet is None or not plan.quiet_at(moment):
        return items, 0
    loud = [i for i in items if i.severity in plan.quiet.but]
    return loud, len(items) - len(loud)


def _claimed(ledger: pd.DataFrame, target: Target, item: Item) -> bool:
    rows = ledger[(ledger["channel"] == target.name) & (ledger["key"] == item.key)]
    return bool((rows["state"] == "claimed").any())


def _claim(ws: Workspace, target: Target, items: list[Item], stale_s: float | None) -> list[Item]:
    return [i for i in items if ws.store.claim_notice(target.name, i.key, detail=i.what, stale_s=stale_s)]


def _others(episodes: pd.DataFrame, target: Target, items: list[Item]) -> int:
    mine = {i.key for i in items}
    open_now = episodes[(episodes["state"] == "open") & episodes["severity"].isin(target.severities)]
    return sum(f"opened|{k}" not in mine for k in open_now["key"])


def _would(ws: Workspace, target: Target, episodes: pd.DataFrame, items: list[Item]) -> TargetRun:
    if not items:
        return TargetRun(target=target.name, kind=target.kind, outcome="nothing new")
    digest = compose(ws, target, items, _others(episodes, target, items))
    return TargetRun(
        target=target.name, kind=target.kind, outcome="would be sent", n_items=len(items), title=digest.title,
        body=digest.body,
    )  # fmt: skip


def _send(
    ws: Workspace,
    plan: NoticeSettings,
    target: Target,
    address: str,
    episodes: pd.DataFrame,
    items: list[Item],
    env: Mapping[str, str],
    post: Deliver,
    sleep: Callable[[float], object],
) -> TargetRun:
    base = TargetRun(target=target.name, kind=target.kind, outcome="nothing new")
    if not items:
        return base
    digest = compose(ws, target, items, _others(episodes, target, items))
    base = replace(base, n_items=len(items), title=digest.title, body=digest.body)
    problem, attempts = "", 0
    try:
        for attempts in range(1, plan.retries + 2):
            problem = post(address, digest)
            if not problem:
                break
            if attempts <= plan.retries:
                sleep(plan.wait_seconds * 2 ** (attempts - 1))
    except Exception as error:
        _settle(ws, target, items, sent=False, detail=type(error).__name__)
        raise
    problem = redact(problem, target.url, env)
    _settle(ws, target, items, sent=not problem, detail=problem or f"digest {digest.id}")
    return replace(base, outcome="failed" if problem else "sent", attempts=attempts, detail=problem)


def _settle(ws: Workspace, target: Target, items: list[Item], *, sent: bool, detail: str) -> None:
    for item in items:
        ws.store.settle_notice(target.name, item.key, sent=sent, detail=detail)


class _Heard(logging.Handler):
    """Keeps what a library says of its troubles."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record.getMessage())


def _through_apprise(address: str, digest: Digest) -> str:
    """Send one message through apprise; return what went wrong, empty when nothing did."""
    try:
        import apprise
    except ImportError:
        raise MissingExtraError("apprise", "notify", "Sending notices") from None
    service: Any = apprise.Apprise.instantiate(address, suppress_exceptions=True)
    if service is None:
        raise ConfigError(
            "an address is not understood", where=FILE, fix="See the examples in config/notices.toml."
        )
    heard, log = _Heard(), logging.getLogger("apprise")
    log.addHandler(heard)
    try:
        sender = apprise.Apprise()
        sender.add(service)
        done = sender.notify(body=digest.body, title=digest.title, body_format=apprise.NotifyFormat.TEXT)
    finally:
        log.removeHandler(heard)
    return "" if done else " ".join(heard.lines) or "the message was not taken, without a reason"


def _sentence(runs: list[TargetRun]) -> str:
    on = [r for r in runs if r.outcome != "off"]
    if not on:
        return f"No target is enabled in config/{FILE}; nothing can be sent."
    return "; ".join(_one(r) for r in on) + "."


def _one(run: TargetRun) -> str:
    things = f"{run.n_items} {'episode' if run.n_items == 1 else 'episodes'}"
    if run.outcome == "sent":
        return f"{run.target}: {things} sent in one message"
    if run.outcome == "failed":
        return f"{run.target}: {things} could not be sent after {run.attempts} tries ({run.detail})"
    if run.outcome == "quiet hours":
        return f"{run.target}: {things} wait for the end of the quiet hours"
    return (
        f"{run.target}: {things} would be sent"
        if run.outcome == "would be sent"
        else f"{run.target}: nothing new"
    )


def _notes(ledger: pd.DataFrame, on: list[Target]) -> tuple[str, ...]:
    """Say what an earlier run left without an end."""
    limit = pd.Timestamp.now(tz="UTC") - pd.Timedelta(seconds=UNSURE_AFTER_S)
    rows = ledger[(ledger["state"] == "claimed") & (ledger["done"] < limit)]
    rows = rows[rows["channel"].isin([t.name for t in on])]
    if rows.empty:
        return ()
    where = ", ".join(sorted(rows["channel"].unique()))
    return (
        f"{len(rows)} notices ({where}) were begun by a run that never finished; whether they were sent is not known. "
        "Send them again with --resend-unsure.",
    )
