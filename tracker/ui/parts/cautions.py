"""The cautions shown wherever the program speaks of a service."""

CAUTIONS = (
    "The usual cautions of colour services: an allergy test 48 hours before, every time; a strand test first; the "
    "maker’s label for mixing, timing, gloves and eyes; never on an irritated scalp. Local rules and licensed "
    "practice come first. This program keeps your notes; it gives no formulas and no medical advice."
)
