"""Every error Fathomlight raises on purpose, in one tree.

::

    FathomlightError              what, where, got, expected, fix
    |-- ArgumentError             a physically or logically impossible argument (also a ValueError)
    |-- UnitError                 a unit text that is unknown or does not fit the parameter (also a ValueError)
    |-- ConfigError               a key of a file in config/ is wrong; names file and key
    |-- UnreadableFileError       a file cannot be read as what it claims to be
    |   `-- UnsafeFileError       a file is refused before or while reading it, for safety
    |-- RecipeError               a recipe does not fit the file at hand
    |-- NotFoundError             a station, batch, rule, ... that is not there (also a LookupError)
    |-- StoreError                the store cannot do what was asked; nothing was changed
    |   |-- StoreReadOnlyError    no right to write
    |   |-- StoreFullError        no room left on the disk
    |   `-- StoreBusyError        another writer holds the store
    |-- NotAllowedError           the person at hand may not do this (also a PermissionError)
    `-- MissingExtraError         an optional package is not installed; names the extra

    FathomlightWarning            something was computed, but read the notes (also a UserWarning)
    `-- OutOfRangeWarning         an equation was asked outside the range it was made for

Every message reads: what went wrong, where, what was got, what was expected, how to fix it.
"""

from __future__ import annotations


class FathomlightError(Exception):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    what : str
        What went wrong, one sentence without a final stop.
    where : str, optional
        File, line, column, key, station ... whatever leads to the place.
    got, expected : object, optional
        What was found, and what would have been right.
    fix : str, optional
        What the reader can do about it.

    Examples
    --------
    >>> print(FathomlightError("unknown unit", where="readings.csv line 3", got="fathom", expected="m or ft"))
    unknown unit (at readings.csv line 3; got 'fathom'; expected m or ft)
    """

    def __init__(
        self,
        what: str,
        *,
        where: str | None = None,
        got: object = None,
        expected: object = None,
        fix: str | None = None,
    ) -> None:
        self.what = what
        self.where = where
        self.got = got
        self.expected = expected
        self.fix = fix
        super().__init__(self._text())

    def _text(self) -> str:
        parts = []
        if self.where:
            parts.append(f"at {self.where}")
        if self.got is not None:
            parts.append(f"got {self.got!r}")
        if self.expected is not None:
            parts.append(f"expected {self.expected}")
        text = self.what + (f" ({'; '.join(parts)})" if parts else "")
        return text + (f". {self.fix}" if self.fix else "")

    def __str__(self) -> str:
        return self._text()

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.__dict__.copy()))


def _rebuild(kind: type[FathomlightError], state: dict[str, object]) -> FathomlightError:
    """Make an error again on the other side of a process boundary."""
    error = kind.__new__(kind)
    error.__dict__.update(state)
    error.args = (error._text(),)
    return error


class ArgumentError(FathomlightError, ValueError):
    """An impossible argument; ``argument`` names it.

    Examples
    --------
    >>> print(ArgumentError("secchi_m", "a disc depth must be greater than zero", got=-1.0))
    secchi_m: a disc depth must be greater than zero (got -1.0)
    """

    def __init__(
        self, argument: str, what: str, *, got: object = None, expected: object = None, fix: str | None = None
    ) -> None:
        self.argument = argument
        super().__init__(f"{argument}: {what}", got=got, expected=expected, fix=fix)


class UnitError(FathomlightError, ValueError):
    """A unit text that is unknown or does not fit the parameter."""


class ConfigError(FathomlightError):
    """A key of a configuration file is wrong."""


class UnreadableFileError(FathomlightError):
    """A file cannot be read as what it claims to be."""


class UnsafeFileError(UnreadableFileError):
    """A file is refused for safety: too large, too deep, or built to exhaust the reader."""


class RecipeError(FathomlightError):
    """A recipe does not fit the file at hand."""


class NotFoundError(FathomlightError, LookupError):
    """Something asked for by name is not there."""


class StoreError(FathomlightError):
    """The store cannot do what was asked; nothing was changed."""


class StoreReadOnlyError(StoreError):
    """The store or its folder cannot be written to."""


class StoreFullError(StoreError):
    """There is no room left where the store lives."""


class StoreBusyError(StoreError):
    """Another writer holds the store for longer than we wait."""


class NotAllowedError(FathomlightError, PermissionError):
    """The person at hand may not do this."""


class MissingExtraError(FathomlightError, ImportError):
    """An optional package is not installed."""

    def __init__(self, package: str, extra: str, purpose: str) -> None:
        super().__init__(
            f"{purpose} needs the optional package {package}",
            fix=f'Install it with: pip install "fathomlight[{extra}]"',
        )


class FathomlightWarning(UserWarning):
    """Something was computed, but the notes beside it should be read."""


class OutOfRangeWarning(FathomlightWarning):
    """An equation was asked outside the range it was made for."""
