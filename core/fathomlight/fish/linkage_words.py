"""Sentences about clarity and catch: association, its size, its doubts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fathomlight.fish.gears import GEARS

if TYPE_CHECKING:
    from fathomlight.fish.linkage import ClarityEffect

ASSOCIATION = (
    "This is an association, not a cause: clarity changes where fish are and how well each gear catches "
    "them, as well as "
    "how many there are, and these surveys alone cannot tell these apart."
)
_CATCHABILITY = {
    "electrofishing": "In clear water fish see and flee the boat; in murky water stunned fish are missed.",
    "netting": "In clear water fish see and avoid nets.",
}


def factor(value: float) -> str:
    """Write a factor with three significant digits: 1.35, 0.704, 12.1."""
    if not math.isfinite(value):
        return "unknown" if math.isnan(value) else "without limit"
    return f"{value:.3g}"


def percent(confidence: float) -> str:
    """Write a confidence as percent."""
    return f"{100 * confidence:g} %"


def span(low: float, high: float) -> str:
    """Write an interval."""
    return f"{factor(low)} to {factor(high)}"


def catchability(gear: str) -> str:
    """Say how clarity changes what the gear catches (common practice, no single source)."""
    known = GEARS.get(gear)
    return _CATCHABILITY.get(
        known.cautions if known else "", "How well the gear catches may itself change with clarity."
    )


def _who(result: ClarityEffect) -> str:
    years = f", {result.first_year} to {result.last_year}" if result.first_year is not None else ""
    plural = "water" if result.waters == 1 else "waters"
    return (
        f"{result.n} surveys with {result.gear} in {result.waters} {plural}{years}; {result.zeros} of them "
        f"caught no "
        f"{result.species}."
    )


def _rank(result: ClarityEffect) -> str:
    if not math.isfinite(result.rank_correlation):
        return (
            f"Too few surveys, or too little contrast, for a rank correlation of catch with {result.label}."
        )
    return (
        f"Rank correlation of catch per effort with {result.label}: {result.rank_correlation:.2f} (n "
        f"{result.rank_n}, "
        f"p {result.rank_p:.2g}, surveys taken as independent)."
    )


def _effect(result: ClarityEffect) -> str:
    limits = f"{percent(result.confidence)} interval {span(result.effect_low, result.effect_high)}"
    if result.effect_low <= 1 <= result.effect_high:
        return (
            f"These surveys do not show whether the catch of {result.species} goes with {result.label}: each "
            f"halving went "
            f"with {factor(result.effect_per_halving)} times the catch per effort, {limits}, which includes "
            f"no difference."
        )
    return (
        f"Each halving of {result.label} went with {factor(result.effect_per_halving)} times the catch of "
        f"{result.species} per {result.effort_unit} ({limits})."
    )


def _shape(result: ClarityEffect) -> str:
    if result.shapes is None or not result.shapes.tested:
        return "Too few surveys to ask whether catch is highest at some middle clarity."
    if result.shape == "hump" and result.optimum is not None:
        top = result.optimum
        return (
            f"The catch was highest near {factor(top.clarity)} {result.unit} ({percent(result.confidence)} "
            f"interval "
            f"{span(top.low, top.high)}); the effect of a halving is then not the same at every clarity."
        )
    if result.shape == "curved":
        return "The relation bends, but without a top among the clarities surveyed: no optimum is given."
    return "A curve with a top fits no better than a straight relation: no optimum is given."


def _left_out(result: ClarityEffect) -> str:
    effects = result.left_out_table["effect"].dropna() if result.left_out_table is not None else None
    if effects is None or len(effects) < 2:
        return "With one water, nothing can be said of other waters."
    same = ((effects > 1) == (result.effect_per_halving > 1)).all()
    tail = "the direction stays the same" if same else "the direction changes: one water decides it"
    return (
        f"Leaving out one water at a time, the effect runs from {span(effects.min(), effects.max())}; {tail}."
    )


def _checks(result: ClarityEffect) -> list[str]:
    out = []
    for check, lead in (
        (result.detrended, "With a trend over the years allowed for"),
        (result.within_water, "Between surveys of the same water alone"),
    ):
        if check is None:
            continue
        if not check.possible:
            out.append(f"{lead}: not possible ({check.reason}).")
            continue
        limits = span(check.low, check.high)
        text = f"{lead}, each halving went with {factor(check.effect)} times the catch ({limits})"
        clear = not result.effect_low <= 1 <= result.effect_high
        if clear and check.low <= 1 <= check.high:
            text += "; so allowed for, the association is no longer clear"
        out.append(text + ".")
    return out


def _alternative(result: ClarityEffect) -> list[str]:
    other = result.alternative
    if other is None:
        return []
    gap = other.aic - other.aic_clarity
    if abs(gap) < 2:
        verdict = "explains the catch about as well as"
    else:
        verdict = "explains the catch less well than" if gap > 0 else "explains the catch better than"
    return [
        f"On the same {other.n} surveys, {other.name} {verdict} {result.label} (AIC difference {gap:+.1f})."
    ]


def sentences(result: ClarityEffect) -> tuple[str, ...]:
    """Return the paragraph, sentence by sentence."""
    out = [_who(result), _rank(result)]
    if result.level == "model":
        out += [_effect(result), _shape(result), _left_out(result), *_checks(result), *_alternative(result)]
    else:
        out.append(f"{result.reason} So this describes, and estimates no effect.")
        if math.isfinite(result.murkier_median):
            out.append(
                f"Median catch per {result.effort_unit}: {factor(result.murkier_median)} in the murkier half "
                f"of the "
                f"surveys, {factor(result.clearer_median)} in the clearer half."
            )
    return (*out, ASSOCIATION, catchability(result.gear))
