"""What the quality tests are told: one frozen model per test, one table per parameter.

A table ``[secchi.quality]`` of a parameter file maps on :class:`QualitySettings` one to one. A test whose key
is absent is not run. Limits are in the canonical unit of the parameter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from fathomlight.errors import ConfigError

SeriesKind = Literal["auto", "logger", "visits"]

MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def _ordered(pair: tuple[float, float]) -> tuple[float, float]:
    low, high = pair
    if math.isnan(low) or math.isnan(high) or not low < high:
        raise ValueError("give the lower limit first, then the upper one; use -inf or inf for an open side")
    return pair


Range = Annotated[tuple[float, float], AfterValidator(_ordered)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    """A frozen table that refuses keys it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class GapSettings(_Table):
    """``hours`` [h]: the longest planned pause; readings further apart are not compared."""

    hours: Positive


class GrossRangeSettings(_Table):
    """``fail``: what the instrument can give; ``suspect``: what is believed here. Limits are inside."""

    fail: Range
    suspect: Range | None = None

    @model_validator(mode="after")
    def _nested(self) -> GrossRangeSettings:
        if self.suspect and (self.suspect[0] < self.fail[0] or self.suspect[1] > self.fail[1]):
            raise ValueError("the suspect range must lie inside the fail range")
        return self


class ClimateWindow(_Table):
    """What is usual in some months, and optionally in a band of depths [m]."""

    months: tuple[Annotated[int, Field(ge=1, le=12)], ...] = Field(min_length=1)
    range: Range
    depth: Range | None = None
    name: str = ""


class ClimatologySettings(_Table):
    """Usual ranges by month or by season.

    Two ways to write it. By month: ``climatology = { jun = [1.0, 6.0], jul = [0.8, 5.0] }``, the keys being
    numbers 1 to 12 or the first three letters. By season and depth:
    ``climatology = { windows = [{ name = "summer", months = [6, 7, 8], range = [0.8, 6.0] }] }``, each window
    with an optional ``depth = [0, 5]``. The first window that fits a reading is used; a reading that fits
    none is not evaluated.
    """

    windows: tuple[ClimateWindow, ...] = Field(min_length=1)

    @model_validator(mode="before")
    @classmethod
    def _from_months(cls, data: Any) -> Any:
        if not isinstance(data, Mapping) or "windows" in data:
            return data
        return {
            "windows": [
                {"months": [_month(key)], "range": span, "name": str(key)} for key, span in data.items()
            ]
        }


def _month(key: Any) -> int:
    text = str(key).strip().lower()
    if text.isdigit() and 1 <= int(text) <= 12:
        return int(text)
    if text[:3] in MONTH_NAMES:
        return MONTH_NAMES.index(text[:3]) + 1
    raise ValueError(
        f"{key!r} is not a month; write 1 to 12, or jan to dec, or use windows = [...] for seasons"
    )


class SpikeSettings(_Table):
    """Thresholds of the spike statistic [unit].

    ``rule``: ``neighbour-mean`` (QARTOD) or ``two-difference`` (GTSPP). Above ``low`` suspect, above ``high``
    fail.
    """

    rule: Literal["neighbour-mean", "two-difference"] = "neighbour-mean"
    low: NotNegative
    high: Annotated[float, Field(ge=0)] = math.inf

    @model_validator(mode="after")
    def _order(self) -> SpikeSettings:
        if self.high < self.low:
            raise ValueError("high must not be below low")
        return self


class RateOfChangeSettings(_Table):
    """``n_dev`` standard deviations of the last ``window_hours`` [h], or a fixed ``per_hour`` [unit/h].

    ``sd_of``: spread of the ``values`` or of their first ``differences``. ``min_points``: fewest values in
    the window. ``min_change`` [unit]: smaller steps are never flagged, which keeps a signal that moves by one
    count of a coarse sensor from being flagged. ``flag_points``: ``later`` or ``both`` points of the step.
    """

    n_dev: Positive = 3.0
    window_hours: Positive = 25.0
    sd_of: Literal["values", "differences"] = "values"
    min_points: Annotated[int, Field(ge=2)] = 5
    min_change: NotNegative = 0.0
    per_hour: Positive | None = None
    flag_points: Literal["later", "both"] = "later"


class FlatLineSettings(_Table):
    """Equal within ``eps`` [unit] for ``suspect`` or ``fail`` readings.

    ``counting``: ``values`` counts the newest reading too (five equal values fail at 5), ``previous`` counts
    those before it (six equal values fail at 5). ``flag_points``: the ``newest`` reading, or the whole
    ``run``.
    """

    eps: NotNegative
    suspect: Annotated[int, Field(ge=2)] = 3
    fail: Annotated[int, Field(ge=2)] = 5
    counting: Literal["values", "previous"] = "values"
    flag_points: Literal["newest", "run"] = "newest"

    @model_validator(mode="after")
    def _order(self) -> FlatLineSettings:
        if self.fail < self.suspect:
            raise ValueError("fail must not be smaller than suspect")
        return self


class AttenuatedSettings(_Table):
    """Spread (``sd`` or ``range``) over the last ``hours`` [h] below ``suspect`` or ``fail`` [unit]."""

    hours: Positive = 12.0
    statistic: Literal["sd", "range"] = "range"
    suspect: NotNegative
    fail: NotNegative = 0.0
    min_points: Annotated[int, Field(ge=2)] = 5

    @model_validator(mode="after")
    def _order(self) -> AttenuatedSettings:
        if self.fail > self.suspect:
            raise ValueError("fail must not be above suspect")
        return self


class NeighbourSettings(_Table):
    """``hours`` [h]: how far apart in time the two instruments may show the same step."""

    hours: Positive = 1.0


class QualitySettings(_Table):
    """The quality table of one parameter; every test is optional.

    Attributes
    ----------
    series : {"auto", "logger", "visits"}
        Spike, rate of change, flat line, attenuated signal and neighbour are only meant for regular series:
        they are not run on ``visits``. ``auto`` says logger when the median pause is at most
        ``logger_step_hours`` [h], or when no times are given.
    gap, gross_range, climatology, spike, rate_of_change, flat_line, attenuated, neighbour
        Settings of each test, or None.

    Examples
    --------
    >>> table = {"gross_range": {"fail": [0, 40], "suspect": [0.1, 20]}}
    >>> QualitySettings.from_table(table).gross_range.suspect
    (0.1, 20.0)
    >>> wrong = {"gross_range": {"fail": [40, 0]}}
    >>> QualitySettings.from_table(wrong, where="parameters.toml: secchi.quality")
    Traceback (most recent call last):
    ...
    fathomlight.errors.ConfigError: give the lower limit first, then the upper one;
    use -inf or inf for an open side
    (at parameters.toml: secchi.quality.gross_range.fail; got [40, 0])
    """

    series: SeriesKind = "auto"
    logger_step_hours: Positive = 6.0
    gap: GapSettings | None = None
    gross_range: GrossRangeSettings | None = None
    climatology: ClimatologySettings | None = None
    spike: SpikeSettings | None = None
    rate_of_change: RateOfChangeSettings | None = None
    flat_line: FlatLineSettings | None = None
    attenuated: AttenuatedSettings | None = None
    neighbour: NeighbourSettings | None = None

    @model_validator(mode="after")
    def _needs(self) -> QualitySettings:
        if self.neighbour and not self.rate_of_change:
            raise ValueError("the neighbour test compares steps: give rate_of_change too")
        return self

    @classmethod
    def from_table(cls, table: Mapping[str, Any], where: str = "quality") -> QualitySettings:
        """Check a table as read from a file.

        Parameters
        ----------
        table : mapping
            Keys as in the class.
        where : str
            File and key of the table; the failing key is put behind it.

        Returns
        -------
        QualitySettings
            The checked table.

        Raises
        ------
        fathomlight.errors.ConfigError
            Naming the first wrong key, what was found and what is right.
        """
        try:
            return cls.model_validate(table)
        except ValidationError as error:
            raise config_error(error, where, tuple(cls.model_fields)) from None


def config_error(error: ValidationError, where: str, known: tuple[str, ...] = ()) -> ConfigError:
    """Turn the first complaint of pydantic into our own error, naming file and key.

    Parameters
    ----------
    error : pydantic.ValidationError
        What the model said.
    where : str
        File and table.
    known : tuple of str
        Keys allowed at the top, shown when an unknown one was used.

    Returns
    -------
    fathomlight.errors.ConfigError
        To be raised.
    """
    first = error.errors()[0]
    path = ".".join(str(part) for part in first["loc"])
    place = f"{where}.{path}" if path else where
    more = error.error_count() - 1
    fix = f"{more} more to correct in this table." if more else None
    if first["type"] == "extra_forbidden":
        expected = f"one of {', '.join(known)}" if known and len(first["loc"]) == 1 else None
        return ConfigError(
            "unknown key", where=place, expected=expected, fix=fix or "Remove it or check its spelling."
        )
    if first["type"] == "missing":
        return ConfigError("a key is missing", where=place, fix=fix)
    text = first["msg"].removeprefix("Value error, ")
    return ConfigError(text, where=place, got=first["input"], fix=fix)
