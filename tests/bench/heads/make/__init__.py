"""How the heads of the bench are made: drawn, rendered, kept. Only `keep` runs as a part of this package."""
