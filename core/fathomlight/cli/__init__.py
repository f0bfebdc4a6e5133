"""The command line: parse, call the workspace, print.

Exit codes: 0 fine; 1 something needs attention (rows refused, open episodes with ``--exit-code``);
2 wrong use or unreadable input. With ``--json`` nothing but JSON goes to standard output.
"""

from __future__ import annotations

import sys

from fathomlight.cli.app import app
from fathomlight.errors import FathomlightError

__all__ = ["app", "main"]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments : list of str, optional
        What came after the program's name; from ``sys.argv`` when left out.
    """
    from fathomlight.cli import (  # noqa: F401  the verbs register
        verbs_answers,
        verbs_data,
        verbs_out,
        verbs_people,
        verbs_workspace,
    )

    try:
        app(args=arguments, standalone_mode=True)
    except FathomlightError as error:
        print(f"fathomlight: {error}", file=sys.stderr)  # noqa: T201
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(0)
