"""How well cards are found: photos with a card whose corners are known, and photos without any card."""
