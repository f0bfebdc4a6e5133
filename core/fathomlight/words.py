"""Words for certainty that every part of the project shares."""

from __future__ import annotations

from fathomlight.errors import ArgumentError

_SCALE = (
    (0.99, "virtually certain"),
    (0.95, "extremely likely"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.05, "very unlikely"),
    (0.01, "extremely unlikely"),
)


def likelihood(probability: float) -> str:
    """Return the IPCC word for a probability.

    Parameters
    ----------
    probability : float
        0 to 1, [1].

    Returns
    -------
    str
        The narrowest term of the scale that holds: at least 0.99 virtually certain, 0.95 extremely likely,
        0.90 very likely, 0.66 likely, 0.33 about as likely as not; below, the mirrored terms.

    Raises
    ------
    ArgumentError
        When it is no probability.

    References
    ----------
    Mastrandrea, M.D. et al. 2010. Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
    Consistent Treatment of Uncertainties. The bands there overlap; the narrowest that holds is used here.

    Examples
    --------
    >>> likelihood(0.954), likelihood(0.7), likelihood(0.5)
    ('extremely likely', 'likely', 'about as likely as not')
    """
    if not 0.0 <= probability <= 1.0:
        raise ArgumentError("probability", "must lie between 0 and 1", got=probability)
    for limit, word in _SCALE:
        if probability >= limit:
            return word
    return "exceptionally unlikely"
