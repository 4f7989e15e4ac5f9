"""The frozen records that the studio keeps: clients, visits, photos, steps, and what was agreed."""
