"""The tool speaks up: notices by e-mail and webhook, each thing once, and a feed of episodes.

>>> from fathomlight.notices import send_notices, write_feed       # doctest: +SKIP
>>> workspace.evaluate_alerts()                                    # doctest: +SKIP
>>> send_notices(workspace).sentence                               # doctest: +SKIP
'email: 3 episodes sent in one message.'

Where notices go stands in ``config/notices.toml``; secrets come from the environment only.
"""

from __future__ import annotations

from fathomlight.config_notices import FeedSettings, NoticeSettings, QuietHours, Target
from fathomlight.notices.digest import Digest
from fathomlight.notices.feed import atom_feed, write_feed
from fathomlight.notices.sending import NoticeRun, TargetRun, send_notices
from fathomlight.notices.settings import load_notices

__all__ = [
    "Digest",
    "FeedSettings",
    "NoticeRun",
    "NoticeSettings",
    "QuietHours",
    "Target",
    "TargetRun",
    "atom_feed",
    "load_notices",
    "send_notices",
    "write_feed",
]
