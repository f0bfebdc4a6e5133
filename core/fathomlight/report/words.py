"""The sentences of a report, in the units its readers use."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.figures.shown import Units, count_text, date_text, number, parameter_number, slope_text
from fathomlight.indices.words import class_words
from fathomlight.model import Parameter
from fathomlight.report.charts import LEAST_YEARS, short_label
from fathomlight.report.charts_long import INPUT_WORDS, percent

if TYPE_CHECKING:
    from fathomlight.report.facts import Facts
    from fathomlight.workspace import TrendAnswer


__all__ = [
    "INPUT_WORDS",
    "LEAST_YEARS",
    "adverb",
    "class_columns",
    "count_words",
    "covered_index",
    "gather_methods",
    "habitat_words",
    "index_lead",
    "index_text",
    "index_words",
    "latest_index",
    "level_text",
    "long_sentence",
    "merge_notes",
    "percent",
    "short_label",
    "signed",
    "span_text",
    "standing_of_year",
    "standing_words",
    "state_sentences",
    "suits",
    "trend_words",
    "verdict",
    "year_sentence",
]


def state_sentences(facts: Facts, units: Units) -> tuple[str, str]:
    """Return the state of a station in two sentences: the year, and the long run.

    Parameters
    ----------
    facts : Facts
        Of the station and year.
    units : {"metric", "us"}
        What the reader wants.
    """
    return year_sentence(facts, units), long_sentence(facts, units)


def year_sentence(facts: Facts, units: Units) -> str:
    """Say how the year stood against its past."""
    name, what, rows = facts.station.name, facts.parameter, facts.rows
    if rows.empty:
        return f"{name} has no used reading of {short_label(what)} {facts.period.within}."
    level = f"the median {short_label(what)} was {level_text(facts.median, what, units)}"
    told = rows[rows["where"] != ""]
    if told.empty:
        return (
            f"{facts.period.begin} {level} at {name}; there is too little past to say whether that is usual."
        )
    usual = level_text(facts.past_median, what, units)
    return (
        f"{facts.period.begin} {name} was {verdict(facts)} ({count_words(facts)}): {level}, where {usual} is usual "
        "on the same days."
    )


def level_text(level: tuple[float, str], what: Parameter, units: Units) -> str:
    """Write a median that may be a bound, in words.

    Examples
    --------
    >>> disc = Parameter("secchi", "Disc depth", "m")
    >>> level_text((2.0, ">"), disc, "metric"), level_text((2.0, "="), disc, "metric")
    ('more than 2.0 m', '2.0 m')
    """
    text = parameter_number(level[0], what, units, level[1])
    return text.replace("> ", "more than ").replace("< ", "less than ")


def standing_of_year(facts: Facts) -> str:
    """Return how a year stood against its past: clearer, murkier, swinging, usual, or empty without a past.

    Clearer (murkier) when at least three readings can be compared and more than one in five lies above (below) the
    band, where one in ten is what chance brings; swinging when both do.
    """
    n, clear, murky = _counts(facts)
    if not n:
        return ""
    up, down = n >= 3 and clear > n / 5, n >= 3 and murky > n / 5
    if up and down:
        return "swinging"
    return "clearer" if up else "murkier" if down else "usual"


def _counts(facts: Facts) -> tuple[int, int, int]:
    told = facts.rows.loc[facts.rows["where"] != "", "where"]
    return len(told), int((told == "clearer").sum()), int((told == "murkier").sum())


def verdict(facts: Facts) -> str:
    """Say in words how a year stood: ``mostly clearer than usual``, ``as usual`` and the like."""
    n, clear, murky = _counts(facts)
    word = standing_of_year(facts)
    if word == "swinging":
        return "sometimes clearer, sometimes murkier than usual"
    if word in ("clearer", "murkier"):
        share = (clear if word == "clearer" else murky) / n
        return f"{'mostly' if share > 0.5 else 'often'} {word} than usual"
    return "as usual"


def count_words(facts: Facts) -> str:
    """Say how many readings of a year lay clearer and murkier than usual for their day."""
    n, clear, murky = _counts(facts)
    verb = "was" if clear == 1 else "were"
    return (
        f"of {count_text(n, 'reading')}, {clear or 'none'} {verb} clearer and {murky or 'none'} murkier than usual for "
        "the day"
    )


def long_sentence(facts: Facts, units: Units) -> str:
    """Say the trend and the trophic state."""
    trend = trend_words(facts.trend, facts.parameter, units)
    return f"{trend[:1].upper()}{trend[1:]}; {index_words(facts)}."


def trend_words(answer: TrendAnswer, what: Parameter, units: Units) -> str:
    """Say a trend without a full stop."""
    s = answer.seasonal
    if not math.isfinite(s.p) or s.n_times < LEAST_YEARS:
        return f"{count_text(s.n_times, 'year')} of readings are too few to speak of a trend"
    since = f"since {answer.first_year} the water"
    slope = slope_text(s.slope, s.slope_low, s.slope_high, what.unit, units)
    sure = percent(s.confidence)
    if answer.clarity == "no direction":
        return f"{since} has no sure direction, {slope}"
    way = f"getting {answer.clarity}" if answer.clarity in ("clearer", "murkier") else answer.clarity
    return f"{since} is {adverb(s.likelihood)} {way} ({sure} sure), {slope}"


def adverb(likelihood: str) -> str:
    """Turn a word of the certainty scale into one that stands before a verb.

    Examples
    --------
    >>> adverb("virtually certain"), adverb("very likely")
    ('virtually certainly', 'very likely')
    """
    return re.sub("certain$", "certainly", likelihood)


def latest_index(facts: Facts) -> dict[str, Any]:
    """Return the newest covered row of the input that goes first, not later than the year; empty without."""
    from fathomlight.workspace.meaning import TROPHIC_PRIORITY

    table = covered_index(facts)
    if table.empty:
        return {}
    newest = table[table["year"] == table["year"].max()]
    for name in TROPHIC_PRIORITY:
        rows = newest[newest["input"] == name]
        if len(rows):
            return {str(k): v for k, v in rows.iloc[0].to_dict().items()}
    return {}


def covered_index(facts: Facts) -> pd.DataFrame:
    """Return the covered years of the trophic index, not later than the year of the report."""
    table = facts.trophic.yearly
    return table[(table["year"] <= facts.year) & table["covered"].astype(bool)]


def class_columns(table: pd.DataFrame) -> list[str]:
    """Return the names of the classes with a probability, in order."""
    return [str(c).removeprefix("p: ") for c in table.columns if str(c).startswith("p: ")]


def index_words(facts: Facts) -> str:
    """Say the trophic state without a full stop."""
    row = latest_index(facts)
    if not row:
        return "readings are too few for a trophic state"
    return f"by {INPUT_WORDS.get(row['input'], row['input'])} {index_text(row)}"


def index_text(row: dict[str, Any]) -> str:
    """Say one row of a trophic answer: ``it was oligotrophic in 2025 (index 32, 26 to 39; 98 % sure)``."""
    bound = f"{row['bound']} " if row["bound"] else ""
    if bound == "open ":
        bound = "about "
    limits = (
        f", {row['low']:.0f} to {row['high']:.0f}"
        if np.isfinite(row["low"]) and np.isfinite(row["high"])
        else ""
    )
    chance = row.get(f"p: {row['class_name']}", math.nan)
    sure = (
        f"; {percent(float(chance))} sure" if chance is not None and np.isfinite(chance) else "; only a bound"
    )
    return f"it was {row['class_name']} in {int(row['year'])} (index {bound}{row['index']:.0f}{limits}{sure})"


def index_lead(facts: Facts) -> str:
    """Say the trophic state in a sentence, with everyday words."""
    row = latest_index(facts)
    if not row:
        return "No year has enough readings for a trophic state index."
    text = index_text(row)
    plain = class_words(str(row["class_name"]))
    name = INPUT_WORDS.get(row["input"], row["input"])
    return f"Judged by {name}, {text}" + (f": {plain}." if plain else ".")


def suits(basis: str) -> str:
    """Say what an area has: light and warmth, or light alone where temperature is not known."""
    if basis == "light and temperature":
        return "the light and warmth that suit"
    return "the light (warmth not known) that suits"


def habitat_words(row: dict[str, Any], fish: str, units: Units, basis: str) -> str:
    """Say the habitat of one year."""
    area = number(float(row["area_ha"]), "ha", 1, units)
    share = f", {100 * row['share']:.1f} % of its bed" if math.isfinite(row["share"]) else ""
    return (
        f"In {int(row['year'])} the water had on average {area}{share}, with {suits(basis)} {fish.lower()}."
    )


def standing_words(facts: Facts, units: Units) -> str:
    """Say the standing of the latest reading; the value alone is rewritten in the units the reader wants."""
    found, what = facts.standing, facts.parameter
    if not math.isfinite(found.value):
        return found.sentence
    written = f"{found.value:.{what.decimals}f} {what.unit}"
    return found.sentence.replace(written, parameter_number(found.value, what, units), 1)


def gather_methods(texts: Iterable[str]) -> list[str]:
    """Join method sentences that differ only in the input they name, and keep each once.

    Examples
    --------
    >>> gather_methods(["Mean of secchi, June.", "Mean of chlorophyll, June.", "Slope."])
    ['Mean of disc depth and chlorophyll, June.', 'Slope.']
    """
    found: dict[str, list[str]] = {}
    pattern = re.compile(r"\b(" + "|".join(INPUT_WORDS) + r")\b")
    for text in texts:
        names = pattern.findall(text)
        shape = pattern.sub("INPUT", text) if len(set(names)) == 1 else text
        found.setdefault(shape, []).extend(INPUT_WORDS[n] for n in names[:1] if shape != text)
    out = []
    for shape, names in found.items():
        unique = list(dict.fromkeys(names))
        joined = " and ".join([", ".join(unique[:-1]), unique[-1]] if len(unique) > 1 else unique)
        out.append(shape.replace("INPUT", joined))
    return out


def span_text(first: Any, last: Any) -> str:
    """Return two days as text."""
    return f"{date_text(first)} to {date_text(last)}"


def merge_notes(notes: Iterable[str]) -> tuple[str, ...]:
    """Keep each note once; notes that differ only in a number of years are told once.

    Examples
    --------
    >>> merge_notes(["In 4 years some are limits.", "In 2 years some are limits.", "Mind this."])
    ('In some years some are limits.', 'Mind this.')
    """
    return tuple(dict.fromkeys(re.sub(r"^In \d+ years? ", "In some years ", n) for n in notes))


def signed(value: float) -> str:
    """Write a slope with its sign; what rounds to nothing is written without.

    Examples
    --------
    >>> signed(-0.312), signed(0.001), signed(float("nan"))
    ('-0.31', '0.00', '–')
    """
    if not math.isfinite(value):
        return "–"
    return "0.00" if abs(value) < 0.005 else f"{value:+.2f}"
