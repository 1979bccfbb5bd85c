"""Tells signal from noise in the published tables: charts, comparisons, audits, and how far each can be trusted."""
