from fathomlight_dashboard.app import main  # noqa: D100

main()
