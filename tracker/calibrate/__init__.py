"""From a colour to level and tone: the built-in scales, a studio's own, and the gauge study."""
