"""The bench of heads: rendered hair, painted and laid anew between photos, of known colour. See README.md here."""
