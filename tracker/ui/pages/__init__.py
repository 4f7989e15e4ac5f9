"""One file (or package) per page, each with a `page()`."""
