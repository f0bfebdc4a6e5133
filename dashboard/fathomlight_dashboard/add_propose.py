"""A file that no ready recipe fits for certain: what its columns were taken for, and the questions to answer."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import count_text
from fathomlight.ingest import Proposal, Recipe, write_recipe
from fathomlight_dashboard import add_asks, add_columns, uploads, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def recipe_for(ws: Workspace, proposal: Proposal, name: str, mark: str, lead: str = "") -> Recipe | None:
    """Ask what must be asked, and return the recipe once every question is answered.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    proposal : Proposal
        Not certain.
    name : str
        Name of the file.
    mark : str
        Tells this file from others, so that answers never pass from one to another.
    lead : str
        Sentence that goes before all others when the recipe was made up.

    Returns
    -------
    Recipe or None
        None while a question is open, or when an answer says that this recipe is not the right one.
    """
    if proposal.ready:
        widgets.sentence(f"The recipe “{proposal.ready}” fits this file, but not for certain.")
    else:
        widgets.sentence(f"{lead} This is what its columns were taken for: change what is not right.".strip())
        proposal = add_columns.as_said(ws, proposal, mark)
    _beside(proposal)
    if proposal.problems:
        for problem in proposal.problems:
            st.warning(widgets.plain(problem), icon=":material/block:")
        return None
    questions = add_asks.asks(ws, proposal)
    st.header(f"{count_text(len(questions), 'question')} before it is read", anchor=False)
    answers = [_ask(q, f"{mark} {q.text}") for q in questions]
    for question, answer in zip(questions, answers, strict=True):
        if answer is not None and answer in question.stop:
            st.warning(question.stop[answer], icon=":material/block:")
            return None
    left = sum(a is None for a in answers)
    if left:
        st.info(
            f"{count_text(left, 'question')} still to answer; nothing is read until then.",
            icon=":material/help:",
        )
        return None
    changes = add_asks.together([q.change(str(a)) for q, a in zip(questions, answers, strict=True)])
    if "recipe" in changes:
        return ws.recipe(changes["recipe"])
    if proposal.ready and not changes:
        return proposal.recipe
    return add_asks.answered(proposal, changes, proposed_name(name))


def _beside(proposal: Proposal) -> None:
    """Show what was noted, and the first rows."""
    if proposal.notes:
        st.caption(widgets.plain("; ".join(proposal.notes)))
    if proposal.sample:
        with st.expander("The first rows of the file"):
            st.dataframe(pd.DataFrame(list(proposal.sample)), hide_index=True, width="stretch", key="sample")


def _ask(question: add_asks.Ask, key: str) -> str | None:
    options = list(question.words)
    text = widgets.plain(question.text)
    if len(options) <= 5:
        answer: str | None = st.radio(
            text, options, index=None, key=key, format_func=lambda a: widgets.plain(question.words[a])
        )
        return answer
    chosen: str | None = st.selectbox(
        text, options, index=None, key=key, format_func=question.words.__getitem__, placeholder="Choose"
    )
    return chosen


def proposed_name(name: str) -> str:
    """Return a name for a recipe from that of the file.

    Examples
    --------
    >>> proposed_name("Week 31 (north).csv"), proposed_name("...")
    ('week-31-north', 'file')
    """
    return re.sub(r"[^a-z0-9]+", "-", Path(name).stem.lower()).strip("-")[:40] or "file"


def keep(ws: Workspace, state: State, recipe: Recipe) -> None:
    """Offer to keep an answered recipe as a file; managers only."""
    if not ws.rights.has("manager"):
        st.caption(
            "A manager of this workspace can keep these answers as a recipe for the next file of this kind."
        )
        return
    with st.expander("Keep these answers as a recipe for the next file of this kind"):
        name = st.text_input("Name of the recipe", value=recipe.name, key="recipe name", max_chars=40)
        about = st.text_input(
            "What files it reads", value=recipe.description, key="recipe about", max_chars=120
        )
        if st.button("Keep this recipe", icon=":material/bookmark_add:"):
            try:
                path = keep_recipe(ws, recipe, name, about)
            except FathomlightError as error:
                widgets.error_box(error)
                return
            state.once(f"The recipe is kept as {path}; the next file of this kind needs no questions.")
            st.rerun()


def keep_recipe(ws: Workspace, recipe: Recipe, name: str, about: str) -> str:
    """Write a recipe into ``config/recipes``.

    Parameters
    ----------
    ws : Workspace
        Where; its reader must be a manager.
    recipe : Recipe
        With all answers put in.
    name : str
        Name of the recipe, made fit for a file.
    about : str
        What files it reads.

    Returns
    -------
    str
        The file, below the workspace.

    Raises
    ------
    fathomlight.errors.NotAllowedError
        Below manager.
    fathomlight.errors.ConfigError
        A recipe of that name is there already.
    """
    ws.require("manager", "keeping a recipe")
    plain = proposed_name(f"{name}.toml")
    folder = ws.root / "config" / "recipes"
    folder.mkdir(parents=True, exist_ok=True)
    write_recipe(recipe.model_copy(update={"name": plain, "description": about}), folder / f"{plain}.toml")
    ws.audit("recipe", {"kept": plain})
    return f"config/recipes/{plain}.toml"


def propose(ws: Workspace, name: str, content: bytes, *, by_column: bool = False) -> Proposal:
    """Propose how an upload is to be read, by a ready recipe or column by column; nothing is stored."""
    with uploads.on_disk(name, content) as path:
        return ws.propose(path, columns={} if by_column else None)
