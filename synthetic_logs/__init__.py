"""The invented Tarnholt hospitals: seeded exports with a known number of planted slips."""
