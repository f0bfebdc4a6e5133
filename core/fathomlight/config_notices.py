"""What ``config/notices.toml`` says: where notices go, when they may, and how often to try."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from fathomlight.config_secrets import check_address
from fathomlight.configfile import load_toml
from fathomlight.errors import ConfigError

FILE = "notices.toml"
Severity = Literal["act", "look", "note"]
SEVERITIES: tuple[Severity, ...] = ("act", "look", "note")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class QuietHours(_Table):
    """Hours in which nothing is sent, but for the severities in ``except``."""

    start: dt.time = Field(alias="from")
    end: dt.time = Field(alias="to")
    but: tuple[Severity, ...] = Field(default=(), alias="except")

    def holds(self, moment: dt.time) -> bool:
        """Return whether a local time of day is quiet; the hours may run over midnight.

        Examples
        --------
        >>> night = QuietHours(start=dt.time(21), end=dt.time(7))
        >>> [night.holds(dt.time(h)) for h in (20, 21, 3, 7)]
        [False, True, True, False]
        """
        if self.start <= self.end:
            return self.start <= moment < self.end
        return moment >= self.start or moment < self.end


class Target(_Table):
    """Where notices go: an address with its secrets by reference, and what is wanted there."""

    name: str = ""
    enabled: bool = False
    url: str
    severities: tuple[Severity, ...] = Field(default=SEVERITIES, min_length=1)
    when_over: bool = False
    kind: Literal["", "email", "webhook"] = ""


class FeedSettings(_Table):
    """The Atom feed: its lasting id and public address, when it has one, and how many entries it keeps."""

    id: str = ""
    address: str = ""
    title: str = ""
    entries: int = Field(default=100, ge=1, le=1000)


class _General(_Table):
    timezone: str = ""
    retries: int = Field(default=3, ge=0, le=10)
    wait_seconds: float = Field(default=5.0, ge=0, le=300)
    quiet: QuietHours | None = None


def _several(value: Any) -> Any:
    """``[email]`` is one target, ``[[email]]`` are several."""
    return [value] if isinstance(value, dict) else value


_Targets = Annotated[list[Target], BeforeValidator(_several)]


class _File(_Table):
    notices: _General = _General()
    email: _Targets = Field(default_factory=list)
    webhook: _Targets = Field(default_factory=list)
    feed: FeedSettings = FeedSettings()


class NoticeSettings(_Table):
    """Everything the file says, checked.

    Attributes
    ----------
    timezone : str
        IANA name of the zone of the quiet hours.
    retries : int
        Tries after the first.
    wait_seconds : float
        Pause before the first of them; it doubles each time, [s].
    quiet : QuietHours or None
    targets : tuple of Target
        Enabled or not; ``name`` is unique.
    feed : FeedSettings
    """

    timezone: str
    retries: int
    wait_seconds: float
    quiet: QuietHours | None
    targets: tuple[Target, ...]
    feed: FeedSettings

    def quiet_at(self, now: dt.datetime) -> bool:
        """Return whether a moment (with its zone) falls into the quiet hours."""
        return self.quiet is not None and self.quiet.holds(now.astimezone(ZoneInfo(self.timezone)).time())


def read_notices(path: Path, *, default_zone: str = "UTC") -> NoticeSettings:
    """Read and check one ``notices.toml``; without the file there are no targets.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    default_zone : str
        IANA name of the zone of the quiet hours when the file names none.

    Returns
    -------
    NoticeSettings
        Addresses are as written: no secret is in them.

    Raises
    ------
    fathomlight.errors.ConfigError
        A mistake, or a secret written out; names file and key.
    """
    found = load_toml(path, _File) if path.is_file() else _File()
    targets: list[Target] = []
    kinds: tuple[tuple[Literal["email", "webhook"], list[Target]], ...] = (
        ("email", found.email),
        ("webhook", found.webhook),
    )
    for kind, several in kinds:
        for place, target in enumerate(several):
            key = kind if len(several) == 1 else f"{kind}[{place}]"
            check_address(target.url, kind, f"{path.name}: {key}.url")
            name = target.name or (kind if place == 0 else f"{kind} {place + 1}")
            targets.append(target.model_copy(update={"name": name, "kind": kind}))
    twice = [n for n, count in Counter(t.name for t in targets).items() if count > 1]
    if twice:
        raise ConfigError("two targets have one name", where=f"{path.name}: name", got=twice[0])
    zone = found.notices.timezone or default_zone
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise ConfigError(
            "an unknown time zone", where=f"{path.name}: notices.timezone", got=zone,
            expected="an IANA name such as America/Chicago",
        ) from None  # fmt: skip
    general = found.notices
    return NoticeSettings(
        timezone=zone, retries=general.retries, wait_seconds=general.wait_seconds, quiet=general.quiet,
        targets=tuple(targets), feed=found.feed,
    )  # fmt: skip
