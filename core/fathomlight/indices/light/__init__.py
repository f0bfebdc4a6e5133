"""Light in and above the water: attenuation, euphotic depth, and the sun from noon to deep twilight.

``I(z) = I0 exp(-Kd z)``. From a disc reading, ``Kd = k / SD``; k depends on how much the water scatters and
how much it absorbs, so it is a setting, and every result names it:

- 1.7, clear water, the usual default: Poole, H.H. & W.R.G. Atkins. 1929. J. Mar. Biol. Assoc. UK 16:297-324
- 1.44, turbid water: Holmes, R.W. 1970. Limnol. Oceanogr. 15:688-694
- 1.45, a rough field estimate: Walker 1980, as quoted in teaching texts

For stained or glacial lakes these do not hold (Koenings & Edmundson 1991, Limnol. Oceanogr. 36:91-105);
measure light at two depths instead.
"""

from fathomlight.indices.light.local import LocalK, attenuation_by_day, local_k
from fathomlight.indices.light.sky import (
    check_step,
    daylight_illuminance,
    illuminance,
    solar_elevation,
    surface_illuminance_series,
)
from fathomlight.indices.light.water import (
    K_DEFAULT,
    K_SOURCES,
    AttenuationResult,
    attenuation,
    attenuation_from_light,
    attenuation_from_profile,
    check_k,
    euphotic_depth,
    k_words,
    light_at_depth,
)

__all__ = [
    "K_DEFAULT",
    "K_SOURCES",
    "AttenuationResult",
    "LocalK",
    "attenuation",
    "attenuation_by_day",
    "attenuation_from_light",
    "attenuation_from_profile",
    "check_k",
    "check_step",
    "daylight_illuminance",
    "euphotic_depth",
    "illuminance",
    "k_words",
    "light_at_depth",
    "local_k",
    "solar_elevation",
    "surface_illuminance_series",
]
