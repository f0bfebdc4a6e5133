"""Words for the keys of the configuration, where a sentence carries one."""

from __future__ import annotations

import re

from fathomlight.figures.index import INPUTS

_KEY = re.compile(r"\btsi_([a-z_]+)\b")


def index_words(key: str) -> str:
    """Return what an index is called.

    Examples
    --------
    >>> index_words("tsi_secchi"), index_words("tsi_else")
    ('index from disc depth', 'index from else')
    """
    name = key.removeprefix("tsi_")
    said = INPUTS.get(name, (f"from {name.replace('_', ' ')}", ""))[0]
    return f"index {said}"


def said(text: str) -> str:
    """Return a sentence with its keys in words.

    Examples
    --------
    >>> said("Tannerook: eutrophic in 2024, mesotrophic before (tsi_secchi).")
    'Tannerook: eutrophic in 2024, mesotrophic before (index from disc depth).'
    """
    return _KEY.sub(lambda m: index_words(m.group(0)), text)


def rule_words(rule: str) -> str:
    """Return the name of a rule as a person would write it.

    Examples
    --------
    >>> rule_words("visit-overdue")
    'visit overdue'
    """
    return rule.replace("-", " ").replace("_", " ")
