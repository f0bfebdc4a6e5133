"""What another metre of clarity would do to habitat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_positive
from fathomlight.indices.habitat.daily import best_bed, lay_out_for_area, mean_area
from fathomlight.indices.habitat.inputs import HabitatInputs, restrict
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.light import k_words
from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class HabitatSensitivityResult(Result):
    """Habitat against clarity.

    Attributes
    ----------
    species : str
        Whose habitat.
    curve : pandas.DataFrame
        ``secchi_m`` [m] held all season, and the ``area_m2`` [m2] it would give with the season's
        temperatures.
    changes : pandas.DataFrame
        ``change_m`` [m] added to every reading, and the ``area_m2`` [m2] it would give.
    area_m2, plus_one_m2 : float
        Mean area as it is, and with one metre added to every reading, [m2].
    best_secchi_m : float
        Disc depth of the curve with the largest area, [m].
    basis : {"light and temperature", "light"}
        What the area rests on.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    species: str
    curve: pd.DataFrame
    changes: pd.DataFrame
    area_m2: float
    plus_one_m2: float
    best_secchi_m: float
    basis: str
    reading: str
    method: str
    caution: str = f"{HABITAT_CAUTION} {CLARITY_CAUTION}"
    notes: tuple[str, ...] = ()


def habitat_sensitivity(
    inputs: HabitatInputs,
    *,
    species: Species = WALLEYE,
    secchi_m: Any = None,
    changes_m: Sequence[float] = (-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0),
    last_years: int | None = 5,
) -> HabitatSensitivityResult:
    """Say what another metre of clarity would do to habitat.

    Parameters
    ----------
    inputs : HabitatInputs
        Readings and settings of one water.
    species : Species
        Light and temperature bands.
    secchi_m : array_like, optional
        Disc depths of the curve, [m]; by default 0.25 to 10 by 0.25.
    changes_m : sequence of float
        Metres added to every day's disc depth; one that would fall below 0.1 m is held there.
    last_years : int, optional
        Only the last so many years of the record, so that the answer is about the water as it is now; None
        for all.

    Returns
    -------
    HabitatSensitivityResult
        The curve over fixed disc depths, the effect of changes, and a sentence. Temperature stays as it is,
        although clearer water warms deeper.

    Raises
    ------
    ArgumentError
        Disc readings, latitude or depth-area table are missing, or a setting is impossible.
    """
    discs = np.arange(0.25, 10.01, 0.25) if secchi_m is None else as_floats("secchi_m", secchi_m).ravel()
    check_positive("secchi_m", discs, "a disc depth")
    if last_years is not None and last_years < 1:
        raise ArgumentError("last_years", "must be 1 or more, or None", got=last_years)
    laid = lay_out_for_area(inputs, species)
    if last_years is not None:
        laid = restrict(laid, laid.year > laid.year.max() - last_years)
    covered = np.isfinite(laid.log_disc) & (np.isfinite(laid.bed[:, 0]) if laid.bed is not None else True)
    if not covered.any():
        raise ArgumentError("secchi_m", "no season day has all the readings that habitat needs")
    laid = restrict(laid, covered)
    beds, basis = best_bed(laid)
    disc = np.exp(laid.log_disc)

    def mean(discs_by_day: FloatArray) -> float:
        return float(np.mean(mean_area(laid, beds, np.log(discs_by_day), inputs.k, species)))

    curve = [mean(np.full(disc.size, v)) for v in discs]
    changed = [mean(np.maximum(disc + c, 0.1)) for c in changes_m]
    now, plus = mean(disc), mean(disc + 1.0)
    best = float(discs[int(np.argmax(curve))])
    return HabitatSensitivityResult(
        species=species.name,
        curve=pd.DataFrame({"secchi_m": discs, "area_m2": curve}),
        changes=pd.DataFrame({"change_m": list(changes_m), "area_m2": changed}),
        area_m2=now,
        plus_one_m2=plus,
        best_secchi_m=best,
        basis=basis,
        reading=_sensitivity_reading(species, now, plus),
        method=(
            f"Habitat by {basis} for {species.label.lower()} recomputed on {disc.size} season days of "
            f"{laid.year.min()}-{laid.year.max()} with the disc held at each depth, and with so many "
            "metres added to "
            f"it; {k_words(inputs.k)}."
        ),
        notes=(
            "Temperature is left as it was; in truth clearer water lets warmth reach deeper.",
            "The largest area on the curve holds for this lake's basin and these seasons, not for other "
            "lakes.",
        ),
    )


def _sensitivity_reading(species: Species, now: float, plus: float) -> str:
    name = species.label.lower()
    if now <= 0:
        return f"As clear as the water is now, no lake bed has the light {name} prefer."
    change = plus / now - 1
    if abs(change) < 0.01:
        return f"One more metre of clarity would leave {name} habitat about as it is ({now / 1e4:.1f} ha)."
    more = "more" if change > 0 else "less"
    return (
        f"One more metre of clarity would give {name} about {abs(change):.0%} {more} habitat "
        f"({now / 1e4:.1f} to {plus / 1e4:.1f} ha)."
    )
