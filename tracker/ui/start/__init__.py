"""Where Streamlit begins.

The script stands in a folder of its own: Streamlit takes a folder named ``pages`` beside its script for a list of
pages, and then tells everyone who opens one of our addresses first that it does not exist.
"""
