"""Quantiles and tail probabilities, from scipy, which is imported at the first of them.

Whoever only looks at readings should not wait for it.
"""

from __future__ import annotations

import numpy.typing as npt

from fathomlight.trends._inputs import Floats


def normal_quantile(probability: float) -> float:
    """Return the standard normal quantile of a probability.

    Examples
    --------
    >>> round(normal_quantile(0.975), 3)  # 1.960, as every table has it
    1.96
    """
    from scipy.special import ndtri

    return float(ndtri(probability))


def chi_square_tail(df: npt.ArrayLike, chi2: npt.ArrayLike) -> Floats:
    """Return the probability of a chi-square above ``chi2``, elementwise.

    Examples
    --------
    >>> chi_square_tail(1, 3.841).round(3).item()  # 0.050, as every table has it
    0.05
    """
    from scipy.special import chdtrc

    out: Floats = chdtrc(df, chi2)
    return out
