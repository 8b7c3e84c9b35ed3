"""Pictures: pure functions from frames to charts. No Streamlit, no DuckDB."""
