"""What a sight-feeding fish wants: a band of light and a band of temperature, as settings."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fathomlight.errors import ArgumentError

DARKEST_LUX = 0.001
"""Astronomical twilight ends near 0.0006 lux (Seidelmann 1992); no limit of a species may lie near it."""


@dataclass(frozen=True, slots=True)
class Species:
    """Light and temperature in which a species does well.

    Attributes
    ----------
    name, label : str
        Short name for settings, and what a reader sees.
    low_lux, high_lux : float
        Light band at the fish, [lux].
    low_degc, high_degc : float
        Temperature band, [degC].
    source : str
        Where the limits come from.
    notes : tuple of str
        What is disputed about them.

    Raises
    ------
    ArgumentError
        A limit is not finite, light is below :data:`DARKEST_LUX`, or a band is upside down.
    """

    name: str
    label: str
    low_lux: float
    high_lux: float
    low_degc: float
    high_degc: float
    source: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for low, high, least in (("low_lux", "high_lux", 0.0), ("low_degc", "high_degc", -math.inf)):
            a, b = getattr(self, low), getattr(self, high)
            if not (math.isfinite(a) and math.isfinite(b)):
                raise ArgumentError(low, "limits of a band must be numbers", got=(a, b))
            if a <= least:
                raise ArgumentError(low, "light must be greater than zero", got=a)
            if low == "low_lux" and a < DARKEST_LUX:
                expected = f"{DARKEST_LUX:g} or more"
                raise ArgumentError(low, "darker than the light model reaches", got=a, expected=expected)
            if a >= b:
                raise ArgumentError(high, f"must be greater than {low}", got=b, expected=f"more than {a:g}")


WALLEYE = Species(
    name="walleye",
    label="Walleye",
    low_lux=8.0,
    high_lux=68.0,
    low_degc=11.0,
    high_degc=25.0,
    source=(
        "Lester, N.P., A.J. Dextrase, R.S. Kushneriuk, M.R. Rawson & P.A. Ryan. 2004. Light and "
        "temperature: key "
        "factors affecting walleye abundance and production. Trans. Am. Fish. Soc. 133:588-605."
    ),
    notes=(
        "The lower light limit is disputed: 8 lux (Lester et al. 2004) is used here; 6 lux is also in use "
        "(Kamm 2020).",
        "Telemetry puts the warmth walleye prefer at 18-23 degC with more than 5 mg/L oxygen (Brooks et "
        "al. 2025, "
        "Movement Ecol. 13); oxygen is not part of this index.",
    ),
)
"""Walleye by Lester et al. (2004): 8-68 lux and 11-25 degC, both settings. The limits were seen in
published research code that cites the paper (0.0762-0.6476 W/m2 at 105 lm/W)."""
