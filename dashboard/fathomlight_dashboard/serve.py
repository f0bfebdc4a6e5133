"""What ``streamlit run`` starts."""

from fathomlight_dashboard.app import main

main()
