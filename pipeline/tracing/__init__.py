"""Answers for infection control and the ward: who was on which unit, what is on record between, and what is not."""
