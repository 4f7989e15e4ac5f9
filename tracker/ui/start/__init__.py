"""Where Streamlit begins.

The script is in a folder of its own: Streamlit takes a folder named ``pages`` beside its script for a list of pages,
and then tells anyone who opens one of our addresses directly that it does not exist.
"""
