"""Dewledger: what happened to the units, their disposables and their disinfection."""

__version__ = "0.1.0"
