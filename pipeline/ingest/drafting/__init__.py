"""Drafting a profile for a file that nobody has described yet: evidence for every word, and doubts left open."""
