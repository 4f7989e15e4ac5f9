"""Pieces of the face that need code in the browser: each is plain HTML, CSS and JavaScript, no build step."""
