"""The frozen records that are kept: clients, visits, photos, steps, and what was agreed."""
