"""The Streamlit dashboard: the pages a lake manager, a volunteer and a biologist use in a browser."""

from __future__ import annotations

from pathlib import Path

from fathomlight.figures.theme import DARK, LIGHT, Look

APP = Path(__file__).resolve().parent / "serve.py"
"""The script that draws the pages."""

SERVER = APP.with_name("serving.py")
"""What ``streamlit run`` is given: the pages, the health check, the logs."""

WORKSPACE_VARIABLE = "FATHOMLIGHT_WORKSPACE"
"""Environment variable that names the folder of the workspace; the current folder when it is not set."""

SECRETS_VARIABLE = "FATHOMLIGHT_SECRETS"
"""Environment variable that names the file with the secrets of the identity provider, outside every workspace."""


def _colours(section: str, look: Look) -> list[str]:
    return [
        f"--{section}.primaryColor={look.clearer}",
        f"--{section}.backgroundColor={look.paper}",
        f"--{section}.secondaryBackgroundColor={look.panel}",
        f"--{section}.textColor={look.ink}",
        f"--{section}.borderColor={look.grid}",
        f"--{section}.linkColor={look.clearer}",
        f"--{section}.violetColor={look.attention}",
        f"--{section}.redColor={look.attention}",
        f"--{section}.redTextColor={look.ink}",
        f"--{section}.redBackgroundColor={look.pale_attention}",
        *[
            f"--{section}.{name}{part}Color={colour}"
            for name in ("yellow", "blue", "green")
            for part, colour in (("Text", look.ink), ("Background", look.panel))
        ],
    ]


STREAMLIT_FLAGS: list[str] = [
    "--server.address=127.0.0.1",
    "--server.headless=true",
    "--server.fileWatcherType=none",
    "--server.maxUploadSize=64",
    "--server.showEmailPrompt=false",
    "--server.enableCORS=true",
    "--server.enableXsrfProtection=true",
    "--browser.gatherUsageStats=false",
    "--client.showErrorLinks=false",
    "--client.showErrorDetails=none",
    "--client.toolbarMode=viewer",
    "--theme.font=sans-serif",
    "--theme.headingFont=serif",
    '--theme.headingFontSizes=["1.9rem", "1.4rem", "1.2rem", "1.1rem", "1rem", "1rem"]',
    "--theme.paddingTop=2.6rem",
    "--theme.baseRadius=small",
    "--theme.showWidgetBorder=true",
    *_colours("theme.light", LIGHT),
    *_colours("theme.dark", DARK),
]
"""Settings for ``streamlit run SERVER`` from any folder; ``.streamlit/config.toml`` says the same here."""

__all__ = ["APP", "SECRETS_VARIABLE", "SERVER", "STREAMLIT_FLAGS", "WORKSPACE_VARIABLE"]
