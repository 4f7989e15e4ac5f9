"""What turns a colour into level and tone: the scales in force, a studio's own, and the gauge study."""
