"""The Streamlit dashboard."""
