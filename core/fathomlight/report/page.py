"""From sections to one page of HTML that asks nothing of any other place."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from fathomlight.figures.shown import date_text
from fathomlight.report.charts import LOOK, Chart
from fathomlight.report.document import PAPERS, Paper

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

TEMPLATES = Path(__file__).parent / "templates"


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the templates; every value is escaped, and a name that is not there is an error."""
    env = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.tests["chart"] = lambda block: isinstance(block, Chart)
    return env


def render(template: str, ws: Workspace, *, paper: Paper, title: str, **more: Any) -> str:
    """Write a page.

    Parameters
    ----------
    template : str
        Name of the template.
    ws : Workspace
        Whose page.
    paper : {"a4", "letter"}
        Size of the printed page.
    title : str
        At the top.
    **more
        What the template needs besides.

    Returns
    -------
    str
        A whole page, from the doctype on.
    """
    env = environment()
    style = env.get_template("style.css.j2").render(look=LOOK, paper=PAPERS[paper])
    return env.get_template(template).render(
        title=title,
        workspace=ws.name,
        invented=ws.invented,
        as_of=date_text(ws.as_of),
        data_version=ws.data_version,
        # The style sheet is ours: it holds no value from data. Inside <style> nothing may be escaped.
        style=Markup(style),
        **more,
    )
