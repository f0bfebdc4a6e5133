"""What the reader chose: the only file that touches session state and the address line.

The address carries the whole view: every choice that differs from its default is a query parameter, so that a
link can be sent and the back button works. A choice made on one page follows to the next through the menu.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.figures import LOOKS, Look
from fathomlight.figures.shown import Units

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

_CARRIED = "fathomlight carried"
_UNTIL_NEXT = "fathomlight until next run"


class State:
    """The choices of one reader on one page."""

    def __init__(self, pages: Mapping[str, Any] | None = None) -> None:
        self._pages = dict(pages or {})
        self._address: dict[str, str] = {k: st.query_params[k] for k in st.query_params}
        self._wanted = dict(self._address)
        # What was chosen last, only to build the links of the menu: the address alone says what is shown.
        self._carried: dict[str, str] = st.session_state.setdefault(_CARRIED, {})
        self._carried.update(self._address)

    # -- looks ---------------------------------------------------------------------------------------------

    @property
    def look(self) -> Look:
        """The colours that fit the reader's light or dark setting."""
        return LOOKS.get(st.context.theme.type or "light", LOOKS["light"])

    @property
    def by_finger(self) -> bool:
        """True on a phone or tablet, where dragging must scroll the page."""
        return "Mobi" in (st.context.headers.get("User-Agent") or "")

    def units(self, ws: Workspace) -> Units:
        """Return the units the reader wants; those of the workspace unless chosen otherwise."""
        chosen = self._wanted.get("units", ws.units)
        return "us" if chosen == "us" else "metric"

    # -- choices -------------------------------------------------------------------------------------------

    def get(self, name: str, default: str = "") -> str:
        """Return one query parameter as it stands in the address."""
        return self._wanted.get(name, default)

    def set(self, name: str, value: str | None) -> None:
        """Set one query parameter; None takes it away."""
        if value is None:
            self._carried.pop(name, None)
            self._wanted.pop(name, None)
        else:
            self._carried[name] = value
            self._wanted[name] = value

    def carry(self, names: Sequence[str]) -> dict[str, str]:
        """Return the choices that follow the reader to a page."""
        return {n: self._carried[n] for n in names if n in self._carried}

    def flush(self) -> None:
        """Write the address once, if a choice changed."""
        if self._wanted != self._address:
            st.query_params.from_dict(self._wanted)
            self._address = dict(self._wanted)

    def choose(
        self,
        name: str,
        label: str,
        options: Sequence[str],
        *,
        default: str | None = None,
        words: Callable[[str], str] = str,
        help: str | None = None,
        widget: str = "select",
        place: Any = st,
    ) -> str:
        """Let the reader choose one of several; the choice stands in the address under `name`.

        Parameters
        ----------
        name : str
            Query parameter.
        label : str
            What stands above the widget.
        options : sequence of str
            Values as they stand in the address. Not empty.
        default : str, optional
            The first option when left out.
        words : callable
            What the reader sees instead of the value.
        help : str, optional
            Explanation beside the label.
        widget : {"select", "segments"}
            A list, or a row of buttons.
        place : streamlit container
            Where it is drawn.

        Returns
        -------
        str
            One of `options`; a value in the address that is none of them is ignored.
        """
        first: str = default if default is not None and default in options else options[0]
        wanted = self._wanted.get(name, first)
        value = wanted if wanted in options else first
        key = f"choice of {name}"
        st.session_state[key] = value
        draw = place.segmented_control if widget == "segments" else place.selectbox
        more: dict[str, Any] = {"required": True} if widget == "segments" else {}
        draw(
            label,
            list(options),
            key=key,
            format_func=words,
            help=help,
            on_change=_chosen,
            args=(name, key, first),
            **more,
        )
        return value

    def choose_many(
        self,
        name: str,
        label: str,
        options: Sequence[str],
        *,
        most: int = 5,
        words: Callable[[str], str] = str,
        help: str | None = None,
        place: Any = st,
    ) -> list[str]:
        """Let the reader choose several; they stand in the address with commas between."""
        wanted = [v for v in self._wanted.get(name, "").split(",") if v in options][:most]
        key = f"choice of {name}"
        st.session_state[key] = wanted
        place.multiselect(
            label,
            list(options),
            key=key,
            format_func=words,
            max_selections=most,
            help=help,
            on_change=_chosen_many,
            args=(name, key),
        )
        return wanted

    def toggle(self, name: str, label: str, *, help: str | None = None, place: Any = st) -> bool:
        """Let the reader switch something on; on stands in the address as ``name=yes``."""
        value = self._wanted.get(name) == "yes"
        key = f"choice of {name}"
        st.session_state[key] = value
        place.toggle(label, key=key, help=help, on_change=_switched, args=(name, key))
        return value

    def number(
        self,
        name: str,
        label: str,
        low: int,
        high: int,
        *,
        default: int,
        help: str | None = None,
        place: Any = st,
    ) -> int:
        """Let the reader choose a whole number between `low` and `high`, such as a year."""
        try:
            value = min(max(int(self._wanted.get(name, default)), low), high)
        except ValueError:
            value = default
        key = f"choice of {name}"
        st.session_state[key] = value
        place.number_input(
            label, low, high, step=1, key=key, help=help, on_change=_chosen, args=(name, key, str(default))
        )
        return value

    def date(
        self, name: str, label: str, *, default: dt.date | None = None, place: Any = st
    ) -> dt.date | None:
        """Let the reader choose a day; without a default, none stands for no limit."""
        try:
            value: dt.date | None = dt.date.fromisoformat(self._wanted.get(name, ""))
        except ValueError:
            value = default
        key = f"choice of {name}"
        st.session_state[key] = value
        place.date_input(
            label,
            min_value=dt.date(1900, 1, 1),
            key=key,
            format="YYYY/MM/DD",
            on_change=_dated,
            args=(name, key),
        )
        return value

    # -- pages ---------------------------------------------------------------------------------------------

    def add_pages(self, pages: Mapping[str, Any]) -> None:
        """Make the pages known by their path."""
        self._pages.update(pages)

    def go(self, path: str, **choices: str) -> None:
        """Open another page with these choices."""
        for name, value in choices.items():
            self._carried[name] = value
        kept = {n: v for n, v in self._carried.items() if n in {"units", "parameter"}}
        st.switch_page(self._pages[path], query_params={**kept, **choices})

    def link(self, path: str, label: str, *, icon: str | None = None, **choices: str) -> None:
        """Offer a link to another page with these choices."""
        if path in self._pages:
            kept = {n: v for n, v in self._carried.items() if n in {"units"}}
            st.page_link(self._pages[path], label=label, icon=icon, query_params={**kept, **choices})

    # -- memory of one visit -------------------------------------------------------------------------------

    def keep(self, name: str, value: Any) -> None:
        """Remember something for this visit, outside the address (a checked file, say)."""
        st.session_state[f"kept {name}"] = value

    def kept(self, name: str, default: Any = None) -> Any:
        """Return what was remembered."""
        return st.session_state.get(f"kept {name}", default)

    def forget(self, name: str) -> None:
        """Forget it."""
        st.session_state.pop(f"kept {name}", None)

    def once(self, value: str | None = None) -> str | None:
        """Keep a message for the next run, or (without argument) take it out."""
        if value is not None:
            st.session_state[_UNTIL_NEXT] = value
            return value
        found: str | None = st.session_state.pop(_UNTIL_NEXT, None)
        return found


def _chosen(name: str, key: str, default: str) -> None:
    carried = st.session_state.setdefault(_CARRIED, {})
    value = str(st.session_state[key])
    _write(name, value, carried, default)


def _chosen_many(name: str, key: str) -> None:
    carried = st.session_state.setdefault(_CARRIED, {})
    _write(name, ",".join(st.session_state[key]), carried, "")


def _dated(name: str, key: str) -> None:
    carried = st.session_state.setdefault(_CARRIED, {})
    value = st.session_state[key]
    _write(name, value.isoformat() if value else "", carried, "")


def _switched(name: str, key: str) -> None:
    carried = st.session_state.setdefault(_CARRIED, {})
    _write(name, "yes" if st.session_state[key] else "", carried, "")


def _write(name: str, value: str, carried: dict[str, str], default: str) -> None:
    """Put a choice into the address at once, so that the address stays the truth."""
    if value == default:
        carried.pop(name, None)
        st.query_params.pop(name, None)
    else:
        carried[name] = value
        st.query_params[name] = value
