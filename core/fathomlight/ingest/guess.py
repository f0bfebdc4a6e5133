"""What a column may be, from its name and its first values. Guesses only: a person confirms them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fathomlight.errors import UnitError
from fathomlight.ingest.cells import header_unit
from fathomlight.ingest.dates import parse_clocks, parse_dates
from fathomlight.ingest.recipe import MissingPart, plain_name
from fathomlight.ingest.values import ParsedValues, is_missing, parse_values
from fathomlight.model import Parameter
from fathomlight.units import convert, parse_unit

__all__ = [
    "DATE_FORMATS",
    "ColumnGuess",
    "date_formats",
    "guess_column",
    "is_unit_row",
    "parameter_of_name",
    "value_unit",
]

DATE_FORMATS = (
    "iso", "%m/%d/%Y", "%d/%m/%Y", "%m/%d/%y", "%d/%m/%y", "%d-%b-%y", "%d-%b-%Y", "%d %b %Y", "%b %d, %Y",
    "%d.%m.%Y", "%d.%m.%y", "%m-%d-%Y", "%d-%m-%Y", "%Y/%m/%d",
)  # fmt: skip

_LIKE_DATE = re.compile(r"\s*(\d{1,4}[-/. ]|[A-Za-z]{3,9}\.? \d|\d{8}(T|$))")
_PARAMETERS: Sequence[tuple[str, str]] = (
    (r"secchi|\bdis[ck]\b|clarity|transparency(?!.*tube)|visibility|\bsd\b", "secchi"),
    (r"tube", "tube_depth"),
    (r"chl(orophyll|a|-a|oro)?\b", "chlorophyll"),
    (r"\btp\b|total p\b|phosphor", "total_phosphorus"),
    (r"\btn\b|total n\b|nitrogen", "total_nitrogen"),
    (r"suspend|\btss\b|\bspm\b|seston", "suspended_matter"),
    (r"cond(uct|uc)?|\bec\b|\bspc\b", "specific_conductance"),
    (r"\bdo\b|oxygen", "dissolved_oxygen"),
    (r"\bpar\b|\blight\b|quantum", "light"),
    (r"temp|\bwtemp\b|thermo", "temperature"),
    (r"fnu|turb.*fnu", "turbidity_fnu"),
    (r"turb|ntu", "turbidity_ntu"),
)
_NAMES: Sequence[tuple[str, str]] = (
    (r"comment|remark|\bnotes?\b|observer|sampler|collector|volunteer name|login|user", "not imported"),
    (r"e-?mail|phone|recorded ?by|\bcrew\b", "not imported"),
    (r"\bdate\b|^(sampled|day sampled|datetime|timestamp|date ?time.*|activitystartdate|when)$", "date"),
    (r"^time\b|\bclock\b|hour|^tod$|\btime$", "time"),
    (r"time ?zone|\btz\b", "zone"),
    (r"^(station|site|stn|sta|location|where|place|sample place)\b", "station"),
    (r"^(lake|water ?body|monitoring ?location.*)\b", "station"),
    (r"on (the )?bottom|\bvob\b|hit bottom|bottom\?|^bottom$", "bottom"),
    (r"qualifier|^sign$|remark code|censor|detect.*(cond|flag)|^flag$|\blt\b", "qualifier"),
    (r"replicate|\brep\b|duplicate no", "replicate"),
    (r"^units?$|\bunits?\b", "unit"),
    (r"^(parameter|analyte|characteristic.*|variable|measure|determinand|test)$", "parameter"),
    (r"^(value|result|reading|measurement|result ?value|resultmeasurevalue)$", "value"),
    (r"detection limit|\bmdl\b|\blod\b|reporting limit", "limit"),
    (r"method", "method"),
)  # fmt: skip
_BY_UNIT: Mapping[str, str] = {
    "degC": "temperature",
    "degF": "temperature",
    "NTU": "turbidity_ntu",
    "FNU": "turbidity_fnu",
    "uS/cm": "specific_conductance",
}
_TYPICAL: Mapping[str, tuple[float, float]] = {
    "secchi": (0.1, 15.0), "temperature": (0.0, 32.0), "tube_depth": (2.0, 130.0),
    "chlorophyll": (0.2, 200.0),
    "total_phosphorus": (2.0, 500.0), "total_nitrogen": (0.05, 10.0), "suspended_matter": (0.5, 500.0),
    "turbidity_ntu": (0.1, 500.0), "turbidity_fnu": (0.1, 500.0), "dissolved_oxygen": (0.0, 16.0),
    "specific_conductance": (20.0, 3_000.0), "light": (0.0, 2_500.0),
}  # fmt: skip
_TRIED: Mapping[str, tuple[str, ...]] = {
    "m": ("m", "ft", "cm"),
    "cm": ("cm", "in", "m"),
    "degC": ("degC", "degF"),
    "ug/L": ("ug/L", "mg/L"),
    "mg/L": ("mg/L", "ug/L"),
}


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """What one column may be.

    Attributes
    ----------
    header : str
        Its name.
    role : str
        ``station``, ``date``, ``time``, ``zone``, ``depth``, ``parameter``, ``value``, ``unit``,
        ``qualifier``, ``bottom``, ``limit``, ``replicate``, ``method``, ``not imported`` or ``unknown``.
    parameter : str
        For a value column: what it measures; empty when another column says so.
    unit : str
        Unit, as written or guessed.
    unit_known : bool
        The file says so.
    formats : tuple of str
        For a date column: formats that fit all values; more than one of different order means that a person
        must say.
    confidence : float
        0 to 1.
    sample : tuple of str
        First values.
    of : str
        For a unit, qualifier and the like: the column of values it belongs to; empty when that is plain.
    zone : str
        For a date or clock time: its time zone, when a person said so.
    stated : bool
        A person said what the column is.
    unit_stated : bool
        A person said the unit; ``unit_in_file`` is what the file says, when it says one.
    """

    header: str
    role: str
    parameter: str = ""
    unit: str = ""
    unit_known: bool = False
    formats: tuple[str, ...] = ()
    confidence: float = 0.5
    sample: tuple[str, ...] = field(default_factory=tuple)
    of: str = ""
    zone: str = ""
    stated: bool = False
    unit_stated: bool = False
    unit_in_file: str = ""


def _units_of(header: str, label: str) -> str:
    return label or header_unit(header)


def date_formats(texts: Sequence[str], now: np.datetime64) -> tuple[str, ...]:
    """Find the formats in which all texts are dates that are not in the future.

    Parameters
    ----------
    texts : sequence of str
        Different texts.
    now : numpy.datetime64
        The present.

    Returns
    -------
    tuple of str
        Formats of :data:`DATE_FORMATS` that fit at least nine texts of ten, best first; empty when none does.

    Examples
    --------
    >>> now = np.datetime64("2025-08-01")
    >>> date_formats(["7/24/2025", "6/3/2025"], now), date_formats(["3/4/2020"], now)
    (('%m/%d/%Y',), ('%m/%d/%Y', '%d/%m/%Y'))
    """
    texts = [t for t in texts if t]
    if not texts or sum(bool(_LIKE_DATE.match(t)) for t in texts) < 0.9 * len(texts):
        return ()
    found: list[tuple[float, str]] = []
    for pattern in DATE_FORMATS:
        if np.isnat(parse_dates(list(texts[:8]), (pattern,), now).naive).sum() > min(2, len(texts) - 1):
            continue
        parsed = parse_dates(list(texts), (pattern,), now)
        good = ~np.isnat(parsed.naive) & (parsed.naive <= now + np.timedelta64(1, "D"))
        share = float(good.mean())
        if share >= 0.9:
            found.append((share, pattern))
            if pattern == "iso":
                return ("iso",)
    best = max((share for share, _ in found), default=0.0)
    return tuple(p for share, p in found if share == best)


def is_unit_row(cells: Sequence[str]) -> bool:
    """Say whether a row under the header gives units.

    Parameters
    ----------
    cells : sequence of str
        The row.

    Returns
    -------
    bool
        True when no cell is a number and at least half of the filled ones are units.

    Examples
    --------
    >>> is_unit_row(["", "", "m", "deg C"]), is_unit_row(["H-1", "7/4/2020", "2.1", "20"])
    (True, False)
    """
    filled = [c.strip() for c in cells if c.strip()]
    if not filled:
        return False
    units = 0
    for cell in filled:
        if re.fullmatch(r"[<>]?\s*-?[\d.,]+", cell):
            return False
        try:
            parse_unit(cell)
            units += 1
        except UnitError:
            pass
    return units >= max(1, len(filled) / 2)


def _role_of_name(plain: str) -> str:
    for pattern, role in _NAMES:
        if re.search(pattern, plain):
            return role
    return ""


def parameter_of_name(plain: str, parameters: Mapping[str, Parameter], unit: str) -> str:
    """Guess the parameter that a name means; empty when none.

    Parameters
    ----------
    plain : str
        Name in plain form.
    parameters : mapping of str to Parameter
        What may be measured.
    unit : str
        Unit as written, or empty: degrees, NTU, FNU and conductance tell by themselves.

    Returns
    -------
    str
        Name of the parameter.
    """
    for name, parameter in parameters.items():
        if plain in (plain_name(name), plain_name(parameter.label)):
            return name
    for pattern, name in _PARAMETERS:
        if re.search(pattern, plain) and name in parameters:
            if name == "turbidity_ntu" and _symbol(unit) == "FNU" and "turbidity_fnu" in parameters:
                return "turbidity_fnu"
            return name
    by_unit = _BY_UNIT.get(_symbol(unit), "")
    return by_unit if by_unit in parameters and "air" not in plain.split() else ""


def _symbol(unit: str) -> str:
    try:
        return parse_unit(unit).symbol
    except UnitError:
        return ""


def _fits(unit: str, parameter: Parameter) -> bool:
    try:
        convert(1.0, unit, parameter.unit)
        return True
    except UnitError:
        return False


def _likely_unit(numbers: np.ndarray, parameter: Parameter) -> str:
    """Unit in which the numbers look most like the parameter."""
    numbers = numbers[~np.isnan(numbers)]
    low, high = _TYPICAL.get(parameter.name, (-np.inf, np.inf))
    best, score = parameter.unit, -1.0
    for unit in _TRIED.get(parameter.unit, (parameter.unit,)):
        values = convert(numbers, unit, parameter.unit) if len(numbers) else numbers
        share = float(np.mean((values >= low) & (values <= high))) if len(numbers) else 0.0
        if share > score + 1e-9:
            best, score = unit, share
    return best


def guess_column(
    header: str,
    label: str,
    texts: Sequence[str],
    parameters: Mapping[str, Parameter],
    station_share: float,
    now: np.datetime64,
    decimal: str = ".",
) -> ColumnGuess:
    """Guess what one column is.

    Parameters
    ----------
    header, label : str
        Its name, and the text of the unit row.
    texts : sequence of str
        Its first values.
    parameters : mapping of str to Parameter
        What may be measured.
    station_share : float
        Share of its values that are known stations.
    now : numpy.datetime64
        The present.
    decimal : str
        Decimal sign of the file.

    Returns
    -------
    ColumnGuess
        The likeliest role.
    """
    plain = plain_name(re.sub(r"[\[(].*?[\])]", " ", header))
    missing = is_missing(texts, MissingPart())
    filled = [t.strip() for t, m in zip(texts, missing, strict=True) if not m]
    sample = tuple(dict.fromkeys(filled))[:5]
    unit = _units_of(header, label)
    codes = frozenset({"<", ">", "nd", "bdl", "u", "b", "y", "bottom", "vob"})
    parsed = parse_values(list(dict.fromkeys(filled)), MissingPart(), codes, "," if decimal == "," else ".")
    numeric = float(np.mean([not r for r in parsed.reason])) if len(parsed.reason) else 0.0
    role = _role_of_name(plain)
    name = "" if role == "not imported" else parameter_of_name(plain, parameters, unit)

    def guess(role: str, confidence: float, **more: object) -> ColumnGuess:
        return ColumnGuess(header=header, role=role, confidence=confidence, sample=sample, **more)  # type: ignore[arg-type]

    if role == "not imported":
        return guess(role, 0.9)
    formats = date_formats(list(dict.fromkeys(filled)), now) if numeric < 0.9 or role == "date" else ()
    if formats and role in ("date", "time", "") and not name:
        return guess("date", 0.95 if len(formats) == 1 and role == "date" else 0.7, formats=formats)
    if station_share >= 0.6:
        return guess("station", 0.95)
    if role == "time" and _clock_share(filled) >= 0.8:
        return guess("time", 0.9)
    if role in ("bottom", "qualifier", "replicate", "unit", "parameter", "limit", "method", "zone", "value"):
        return guess(role, 0.8)
    if re.search(r"depth|\bz\b", plain) and name != "secchi" and name != "tube_depth" and numeric >= 0.6:
        return guess("depth", 0.8, unit=unit or "m", unit_known=bool(unit))
    if name and (numeric >= 0.6 or not filled):
        shown, known = _unit_of_values(unit, parsed, parameters[name])
        return guess("value", 0.9 if known else 0.6, parameter=name, unit=shown, unit_known=known)
    if role == "station":
        return guess("station", 0.6 if station_share == 0 else 0.8)
    return guess("unknown", 0.3)


def _unit_of_values(unit: str, parsed: ParsedValues, parameter: Parameter) -> tuple[str, bool]:
    """Unit of the header, else of the cells, else the likeliest; and whether the file says it."""
    if unit and _fits(unit, parameter):
        return unit, True
    glued = next((str(u) for u in parsed.unit if u and _fits(str(u), parameter)), "")
    return glued or _likely_unit(parsed.number, parameter), bool(glued)


def value_unit(
    header: str, label: str, texts: Sequence[str], parameter: Parameter, decimal: str = "."
) -> tuple[str, bool]:
    """Find the unit of a column whose parameter is known.

    Parameters
    ----------
    header, label : str
        Its name, and the text of the unit row.
    texts : sequence of str
        Its first values.
    parameter : Parameter
        What it measures.
    decimal : str
        Decimal sign of the file.

    Returns
    -------
    str, bool
        The unit, and whether the file says it; the likeliest one when it does not.

    Examples
    --------
    >>> secchi = Parameter("secchi", "Secchi depth", "m")
    >>> value_unit("Disc (ft)", "", ["8"], secchi), value_unit("Disc", "", ["22", "31"], secchi)
    (('ft', True), ('ft', False))
    """
    missing = is_missing(texts, MissingPart())
    kinds = list(dict.fromkeys(t.strip() for t, m in zip(texts, missing, strict=True) if not m))
    parsed = parse_values(kinds, MissingPart(), frozenset(), "," if decimal == "," else ".")
    return _unit_of_values(_units_of(header, label), parsed, parameter)


def _clock_share(texts: Sequence[str]) -> float:
    kinds = list(dict.fromkeys(texts))
    found = parse_clocks(kinds, np.zeros(len(kinds), bool))
    return float(np.mean(~np.isnan(found.seconds))) if kinds else 0.0
