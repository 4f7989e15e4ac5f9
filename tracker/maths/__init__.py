"""The mathematics of colour and of uncertainty, and the shapes of arrays; knows nothing of hair."""
