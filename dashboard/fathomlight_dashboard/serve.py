"""The script behind the pages: run at every interaction."""

from fathomlight_dashboard.app import main
from fathomlight_dashboard.health import WORK

with WORK.under_way():
    main()
