"""Class limits of trophic state, as tables that say how they treat a value exactly on a limit.

The rule for edges is one rule: **a value on a limit belongs to the clearest class whose row lists it.**
Where the source writes ``<`` or ``>``, that row does not list its own limit. Each table below spells out
what follows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, check_positive, elementwise

EdgeRule = Literal["clearer", "murkier"]


@dataclass(frozen=True, slots=True)
class ClassLimits:
    """Limits between the classes of one variable, clearest class first.

    Attributes
    ----------
    unit : str
        Unit of ``limits``.
    limits : tuple of float
        Between class 1 and 2, 2 and 3, and so on.
    edges : tuple of {"clearer", "murkier"}
        To which neighbour a value exactly on that limit belongs.
    falling : bool
        True when a smaller value means a murkier class (disc depth).
    """

    unit: str
    limits: tuple[float, ...]
    edges: tuple[EdgeRule, ...]
    falling: bool = False

    def rank(self, values: FloatArray) -> FloatArray:
        """Return the class number of each value, from 0 for the clearest; NaN for NaN."""
        sign = -1.0 if self.falling else 1.0
        v = sign * values
        rank = np.zeros(v.shape)
        for limit, edge in zip(self.limits, self.edges, strict=True):
            rank += v >= sign * limit if edge == "murkier" else v > sign * limit
        return np.where(np.isnan(v), np.nan, rank)


def _limits(unit: str, *limits: float, falling: bool = False, murkier: tuple[int, ...] = ()) -> ClassLimits:
    edges: tuple[EdgeRule, ...] = tuple("murkier" if i in murkier else "clearer" for i in range(len(limits)))
    return ClassLimits(unit, limits, edges, falling)


@dataclass(frozen=True, slots=True)
class ClassTable:
    """A published set of classes.

    Attributes
    ----------
    name, source : str
        What to call it, and author, year, title.
    classes : tuple of str
        Class names, clearest first.
    variables : mapping of str to ClassLimits
        Limits of each variable, in the canonical unit of that parameter.
    verified : bool
        False when the limits are quoted from memory and still have to be held against the source.
    edge_rule : str
        What happens to a value exactly on a limit, in words.
    """

    name: str
    source: str
    classes: tuple[str, ...]
    variables: Mapping[str, ClassLimits] = field(default_factory=dict)
    verified: bool = True
    edge_rule: str = ""

    def limits(self, variable: str) -> ClassLimits:
        """Return the limits of one variable.

        Raises
        ------
        ArgumentError
            The table has no such variable.
        """
        try:
            return self.variables[variable]
        except KeyError:
            raise ArgumentError(
                "variable",
                f"{self.name} has no limits for it",
                got=variable,
                expected=", ".join(self.variables),
            ) from None

    def classify(self, values: Any, variable: str, argument: str = "value") -> Any:
        """Name the class of each value.

        Parameters
        ----------
        values : float or array_like
            In the unit of ``limits(variable)``, any shape.
        variable : str
            Which limits to use.
        argument : str
            Name used in error messages.

        Returns
        -------
        str, None or array of object
            Class names, same shape; None where the value is NaN.

        Raises
        ------
        ArgumentError
            A measured quantity is not greater than zero, or the variable is unknown.
        """
        limits = self.limits(variable)
        names = np.array([*self.classes, None], dtype=object)

        def kernel(v: FloatArray) -> npt.NDArray[np.object_]:
            if limits.unit != "1":
                check_positive(argument, v, variable.replace("_", " "))
            rank = limits.rank(v)
            chosen = names[np.where(np.isnan(rank), len(self.classes), rank).astype(int)]
            return np.asarray(chosen, dtype=object)

        return elementwise(kernel, values, names=(argument,), unit="", label=self.name, dtype=object)


CARLSON_CLASSES = ClassTable(
    name="Carlson & Simpson classes",
    source=(
        "Carlson, R.E. & J. Simpson. 1996. A Coordinator's Guide to Volunteer Lake Monitoring Methods. NALMS."
    ),
    classes=("oligotrophic", "mesotrophic", "eutrophic", "hypereutrophic"),
    variables={"tsi": _limits("1", 40, 50, 70)},
    edge_rule="An index of exactly 40 is oligotrophic, 50 mesotrophic, 70 eutrophic.",
)

OECD_CLASSES = ClassTable(
    name="OECD fixed boundaries",
    source=(
        "Vollenweider, R.A. & J. Kerekes. 1982. Eutrophication of Waters: Monitoring, Assessment and "
        "Control. "
        "OECD, Paris."
    ),
    classes=("ultra-oligotrophic", "oligotrophic", "mesotrophic", "eutrophic", "hypertrophic"),
    variables={
        "total_phosphorus": _limits("ug/L", 4, 10, 35, 100),
        "chlorophyll": _limits("ug/L", 1.0, 2.5, 8, 25),
        "chlorophyll_max": _limits("ug/L", 2.5, 8, 25, 75),
        "secchi": _limits("m", 12, 6, 3, 1.5, falling=True),
        "secchi_min": _limits("m", 6, 3, 1.5, 0.7, falling=True),
    },
    edge_rule=(
        "The source lists each limit in two rows (a mean disc depth of 6 m is oligotrophic and mesotrophic); "
        "the clearer class is taken."
    ),
)

NATIONAL_SURVEY_CLASSES = ClassTable(
    name="US national lakes survey classes",
    source=(
        "USEPA. 2009. National Lakes Assessment (EPA 841-R-09-001) "
        "and Technical Appendix (EPA 841-R-09-001a)."
    ),
    classes=("oligotrophic", "mesotrophic", "eutrophic", "hypereutrophic"),
    variables={
        "chlorophyll": _limits("ug/L", 2, 7, 30),
        "total_phosphorus": _limits("ug/L", 10, 25, 100),
        "total_nitrogen": _limits("mg/L", 0.35, 0.75, 1.4),
        "secchi": _limits("m", 4, 2.1, 0.7, falling=True, murkier=(0,)),
    },
    edge_rule=(
        "Chlorophyll, phosphorus and nitrogen on a limit belong to the clearer class, as the source "
        "writes; a disc "
        "depth of 4 m is mesotrophic, 2.1 m mesotrophic, 0.7 m eutrophic. The disc limits are quoted from "
        "memory."
    ),
)

NURNBERG_CLASSES = ClassTable(
    name="Nurnberg classes",
    source=(
        "Nurnberg, G.K. 1996. Trophic state of clear and colored, soft- and hardwater lakes with special "
        "consideration of nutrients, anoxia, phytoplankton and fish. Lake Reserv. Manage. 12:432-447."
    ),
    classes=("oligotrophic", "mesotrophic", "eutrophic", "hypereutrophic"),
    variables={
        "total_phosphorus": _limits("ug/L", 10, 30, 100),
        "total_nitrogen": _limits("mg/L", 0.35, 0.65, 1.2),
        "chlorophyll": _limits("ug/L", 3.5, 9, 25),
        "secchi": _limits("m", 4.0, 2.0, 1.0, falling=True),
    },
    verified=False,
    edge_rule="A value on a limit belongs to the clearer class.",
)

TROPHIC_LEVEL_CLASSES = ClassTable(
    name="Trophic level classes",
    source=(
        "Burns, N.M., J.C. Rutherford & J.S. Clayton. 1999. A monitoring and classification system for New"
        " Zealand "
        "lakes and reservoirs. J. Lake Reserv. Manage. 15:255-271."
    ),
    classes=(
        "ultra-microtrophic",
        "microtrophic",
        "oligotrophic",
        "mesotrophic",
        "eutrophic",
        "supertrophic",
        "hypertrophic",
    ),
    variables={"trophic_level": _limits("1", 1, 2, 3, 4, 5, 6)},
    edge_rule="A level exactly on a whole number belongs to the clearer class.",
)

CLASS_TABLES: Mapping[str, ClassTable] = {
    "carlson": CARLSON_CLASSES,
    "oecd": OECD_CLASSES,
    "national-survey": NATIONAL_SURVEY_CLASSES,
    "nurnberg": NURNBERG_CLASSES,
    "trophic-level": TROPHIC_LEVEL_CLASSES,
}
"""Every class table by the name that settings and the command line use."""


def oecd_class(value: Any, variable: str, *, statistic: Literal["mean", "max", "min"] = "mean") -> Any:
    """Class by the fixed boundaries of the OECD.

    Parameters
    ----------
    value : float or array_like
        Annual value in canonical units: ``secchi`` [m], ``chlorophyll`` [ug/L], ``total_phosphorus`` [ug/L].
    variable : {"secchi", "chlorophyll", "total_phosphorus"}
        What was measured.
    statistic : {"mean", "max", "min"}
        Annual mean; also the annual maximum for chlorophyll and the annual minimum for the disc.

    Returns
    -------
    str, None or array of object
        ``ultra-oligotrophic`` ... ``hypertrophic``; None where the value is NaN.

    Raises
    ------
    ArgumentError
        ``value`` is not greater than zero, or there are no limits for that variable and statistic.

    Notes
    -----
    On a limit, which the source lists in two rows, the clearer class is taken.

    References
    ----------
    Vollenweider, R.A. & J. Kerekes. 1982. Eutrophication of Waters: Monitoring, Assessment and Control.
    OECD, Paris.

    Examples
    --------
    >>> oecd_class(6.0, "secchi"), oecd_class(20.0, "chlorophyll", statistic="max")
    ('oligotrophic', 'mesotrophic')
    """
    key = variable if statistic == "mean" else f"{variable}_{statistic}"
    if key not in OECD_CLASSES.variables:
        raise ArgumentError(
            "variable" if statistic == "mean" else "statistic",
            "the OECD table has no such column",
            got=key,
            expected=", ".join(OECD_CLASSES.variables),
        )
    return OECD_CLASSES.classify(value, key)


def national_survey_class(value: Any, variable: str) -> Any:
    """Class by the limits of the US national lakes survey; chlorophyll is the one that survey reports.

    Parameters
    ----------
    value : float or array_like
        ``chlorophyll`` [ug/L], ``total_phosphorus`` [ug/L], ``total_nitrogen`` [mg/L] or ``secchi`` [m].
    variable : str
        What was measured.

    Returns
    -------
    str, None or array of object
        ``oligotrophic`` ... ``hypereutrophic``; None where the value is NaN.

    Raises
    ------
    ArgumentError
        ``value`` is not greater than zero, or the variable is unknown.

    References
    ----------
    USEPA. 2009. National Lakes Assessment, EPA 841-R-09-001. (Disc limits quoted from memory.)

    Examples
    --------
    >>> national_survey_class(7.0, "chlorophyll")
    'mesotrophic'
    """
    return NATIONAL_SURVEY_CLASSES.classify(value, variable)


def nurnberg_class(value: Any, variable: str) -> Any:
    """Class by the summer surface-layer limits of Nurnberg (1996).

    **The limits are quoted from memory and have not been compared with the source.**

    Parameters
    ----------
    value : float or array_like
        ``chlorophyll`` [ug/L], ``total_phosphorus`` [ug/L], ``total_nitrogen`` [mg/L] or ``secchi`` [m].
    variable : str
        What was measured.

    Returns
    -------
    str, None or array of object
        ``oligotrophic`` ... ``hypereutrophic``; None where the value is NaN.

    Raises
    ------
    ArgumentError
        ``value`` is not greater than zero, or the variable is unknown.

    References
    ----------
    Nurnberg, G.K. 1996. Trophic state of clear and colored, soft- and hardwater lakes with special
    consideration of nutrients, anoxia, phytoplankton and fish. Lake Reserv. Manage. 12:432-447.

    Examples
    --------
    >>> nurnberg_class(12.0, "total_phosphorus")
    'mesotrophic'
    """
    return NURNBERG_CLASSES.classify(value, variable)


def carlson_class(tsi: Any) -> Any:
    """Class of a trophic state index in four steps: limits 40, 50 and 70.

    Parameters
    ----------
    tsi : float or array_like
        Index from any one input, [1].

    Returns
    -------
    str, None or array of object
        ``oligotrophic`` (up to 40), ``mesotrophic`` (to 50), ``eutrophic`` (to 70) or ``hypereutrophic``;
        None where the index is NaN.

    References
    ----------
    Carlson, R.E. & J. Simpson. 1996. A Coordinator's Guide to Volunteer Lake Monitoring Methods. NALMS.

    Examples
    --------
    >>> carlson_class(45.0), carlson_class(70.0)
    ('mesotrophic', 'eutrophic')
    """
    return CARLSON_CLASSES.classify(tsi, "tsi", "tsi")


@dataclass(frozen=True, slots=True)
class CarlsonBand:
    """One row of the attribute table: index range, matching ranges of the inputs, and what to expect.

    Ranges are (from, to) with the clearer end first; open ends are infinite or zero.
    ``from_memory`` lists parts of the row that have not been compared with the source.
    """

    tsi: tuple[float, float]
    chlorophyll_ug_l: tuple[float, float]
    secchi_m: tuple[float, float]
    tp_ug_l: tuple[float, float]
    name: str
    attributes: str
    from_memory: str = ""


_INF = float("inf")
CARLSON_BANDS: tuple[CarlsonBand, ...] = (
    CarlsonBand(
        (-_INF, 30), (0, 0.95), (_INF, 8), (0, 6), "oligotrophic",
        "Very clear; oxygen all year at the bottom; cold-water fish in deep lakes.",
    ),
    CarlsonBand(
        (30, 40), (0.95, 2.6), (8, 4), (6, 12), "oligotrophic",
        "Clear; shallower lakes may lose the oxygen near the bottom in summer.",
    ),
    CarlsonBand(
        (40, 50), (2.6, 7.3), (4, 2), (12, 24), "mesotrophic",
        "Moderately clear; low oxygen near the bottom in summer becomes more likely; walleye may dominate.",
        from_memory="walleye may dominate",
    ),
    CarlsonBand(
        (50, 60), (7.3, 20), (2, 1), (24, 48), "eutrophic",
        "No oxygen in the bottom water, too many plants possible; warm-water fish only.",
    ),
    CarlsonBand(
        (60, 70), (20, 56), (1, 0.5), (48, 96), "eutrophic",
        "Blue-green algae dominate, scums and heavy plant growth.",
    ),
    CarlsonBand(
        (70, 80), (56, 155), (0.5, 0.25), (96, 192), "hypereutrophic",
        "Heavy algal blooms all summer; plants short of light.",
    ),
    CarlsonBand(
        (80, _INF), (155, _INF), (0.25, 0), (192, 384), "hypereutrophic",
        "Scums, few plants; rough fish, and fish kills in summer.",
    ),
)  # fmt: skip
"""Attribute table of Carlson & Simpson (1996), attributes in our own words. The source gives ``<30`` and
``>80``, so an index of exactly 30 is in the second band and exactly 80 in the last but one."""


def carlson_band(tsi: float) -> CarlsonBand | None:
    """Attribute band of one index.

    Parameters
    ----------
    tsi : float
        Trophic state index, [1].

    Returns
    -------
    CarlsonBand or None
        None when the index is NaN. On a limit shared by two rows, the clearer row.

    Examples
    --------
    >>> carlson_band(55.0).attributes
    'No oxygen in the bottom water, too many plants possible; warm-water fish only.'
    """
    value = float(tsi)
    if np.isnan(value):
        return None
    if value < 30:
        return CARLSON_BANDS[0]
    return next(band for band in CARLSON_BANDS[1:] if value <= band.tsi[1])
