"""Change a settings file, and put an earlier version back: two views of the page Settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight.errors import FathomlightError, StoreBusyError
from fathomlight.figures.shown import date_text
from fathomlight_dashboard import widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight.workspace.settings import SettingsCheck, SettingsFile, SettingsSaved, SettingsText
    from fathomlight_dashboard.state import State

_STYLE = """<style>
.st-key-settings-text textarea { font-family: var(--st-code-font, monospace); font-size: 0.85rem; line-height: 1.45; }
</style>"""
PART = (
    "Your role manager holds for some waters only. Settings hold for all of them: a manager of all waters changes "
    "them."
)
SAY_WHY = "Say why: it is kept with the change, for whoever asks later."


def change_view(ws: Workspace, state: State) -> None:
    """Edit the text of one file, see what the check says and what would differ, save with a reason."""
    chosen = _choose(ws, state)
    if chosen is None:
        return
    if not chosen.editable:
        st.warning(f"{widgets.plain(chosen.name)}: {widgets.plain(chosen.why_not)}.", icon=":material/lock:")
        return
    name = chosen.name
    opened: SettingsText = state.kept(f"opened {name}") or ws.settings_text(name)
    state.keep(f"opened {name}", opened)
    head = st.container()
    text = _editor(state, opened, begun=chosen.there)
    disk = ws.settings_text(name)
    stale = disk.mark != opened.mark
    if stale and text in (opened.text, disk.text):  # nothing would be lost
        _open_again(state, name)
        st.rerun()
    if stale:
        with head:
            _changed_meanwhile(state, name)
    left, right = st.columns(2)
    left.button("Check this text", icon=":material/fact_check:", type="primary", width="stretch")
    if text == opened.text:
        st.caption("Change the text, then check it: nothing is saved before you have seen what would differ.")
        return
    if right.button("Drop my changes", icon=":material/undo:", width="stretch"):
        _open_again(state, name)
        st.rerun()
    check = ws.check_settings(name, text)
    _show(check)
    if check.ok and check.changed and not stale:
        _save(ws, state, name, text, opened.mark)


def _editor(state: State, opened: SettingsText, *, begun: bool) -> str:
    """Show the text to change; what was written stays when the reader looks at another page meanwhile."""
    name = opened.name
    st.html(_STYLE)
    if not begun:
        st.caption("The workspace does without this file; what you write here begins it.")
    with st.container(key="settings-text"):
        text: str = st.text_area(
            f"Text of {name}", value=state.kept(f"draft {name}", opened.text), height=440,
            key=f"text of {name} {state.kept(f'turn {name}', 0)}",
            help="What follows a # is a remark and changes nothing.",
        )  # fmt: skip
    state.keep(f"draft {name}", text)
    return text


def _choose(ws: Workspace, state: State) -> SettingsFile | None:
    if ws.rights.waters is not None:
        st.info(PART, icon=":material/info:")
        return None
    files = {f.name: f for f in ws.settings_files()}
    name = state.choose("file", "File", list(files), words=lambda n: _file_words(files[n]))
    widgets.sentence(f"{name}: {files[name].about}.")
    return files[name]


def _file_words(file: SettingsFile) -> str:
    if not file.editable:
        return f"{file.name} (cannot be opened here)"
    return file.name if file.there else f"{file.name} (not begun)"


def _open_again(state: State, name: str) -> None:
    state.forget(f"opened {name}")
    state.forget(f"draft {name}")
    state.keep(
        f"turn {name}", state.kept(f"turn {name}", 0) + 1
    )  # a field of its own, without what was typed before


def _changed_meanwhile(state: State, name: str) -> None:
    st.warning(
        f"{widgets.plain(name)} was changed on disk since you opened it, so your text cannot be saved. Copy what you "
        "need from it, then open the file again.",
        icon=":material/sync_problem:",
    )
    if st.button("Open it again", icon=":material/refresh:"):
        _open_again(state, name)
        st.rerun()


def _show(check: SettingsCheck) -> None:
    """Say what the check found, and show the difference."""
    for problem in check.problems:
        widgets.error_box(problem.as_error())
    if check.ok:
        st.success(
            widgets.plain(f"{check.sentence} The whole configuration was checked with it."),
            icon=":material/check:",
        )
    widgets.notes(check.notes, title="What follows from it")
    if check.difference:
        with st.expander("What would differ", expanded=True):
            st.caption("Lines that begin with - are taken out, lines that begin with + are put in.")
            st.code(check.difference, language=None, wrap_lines=True)


def _asked_why(key: str, label: str, icon: str) -> str | None:
    """Ask for a reason; return it when the button was pressed with one."""
    with st.form(key, border=True):
        why = st.text_input("Why", max_chars=300, help=SAY_WHY)
        pressed = st.form_submit_button(label, type="primary", icon=icon)
    if pressed and not why.strip():
        st.error(SAY_WHY)
    return why.strip() if pressed and why.strip() else None


def _save(ws: Workspace, state: State, name: str, text: str, mark: str) -> None:
    why = _asked_why(f"save {name}", f"Save {name}", ":material/save:")
    if why is None:
        return
    try:
        done = ws.save_settings(name, text, why, mark=mark)
    except StoreBusyError:
        st.rerun()  # the top of the page says it
    _done(state, name, done)


def _done(state: State, name: str, done: SettingsSaved) -> None:
    _open_again(state, name)
    state.once(" ".join([done.sentence, *done.notes]))
    st.rerun()


def earlier_view(ws: Workspace, state: State) -> None:
    """List the earlier versions of a file, show how one differs, put it back with a reason."""
    chosen = _choose(ws, state)
    if chosen is None:
        return
    name = chosen.name
    versions = ws.settings_versions(name)
    if versions.empty:
        widgets.nothing_yet(
            f"There is no earlier version of {name} yet.",
            "Whenever a file is changed on this page, the version before is kept.",
        )
        return
    said = {
        v: f"until {date_text(d)}, {d:%H:%M} UTC" + (f" · {why}" if why else "")
        for v, d, why in zip(versions["version"], versions["replaced"], versions["why"], strict=True)
    }
    version = state.choose(
        "version", "Earlier version", list(said), words=said.__getitem__,
        help="In force until this instant, when it was replaced for the reason given.",
    )  # fmt: skip
    by = versions.loc[versions["version"] == version, "who"].iloc[0]
    if by:
        st.caption(f"Replaced by {widgets.plain(str(by))}.")
    try:
        check = ws.check_settings(name, ws.settings_version(name, version))
    except FathomlightError as error:
        widgets.error_box(error)
        return
    if not check.changed:
        st.info("The file says the same today.", icon=":material/info:")
        return
    _show(check)
    if not check.ok:
        st.caption("It cannot be put back as a whole; take from it what you need on Change a file.")
        return
    why = _asked_why(f"restore {name}", "Put this version back", ":material/history:")
    if why is not None:
        _done(state, name, ws.restore_settings(name, version, why))
