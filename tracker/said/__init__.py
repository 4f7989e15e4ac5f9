"""What the core found, in sentences: a code and its numbers in, one text out."""
