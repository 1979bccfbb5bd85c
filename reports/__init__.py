"""Findings and pictures turned into pages. Nothing here computes a figure."""
