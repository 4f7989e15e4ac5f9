"""The face: pages and their parts, made with Streamlit."""
