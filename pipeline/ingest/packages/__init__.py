"""Data Packages (datapackage.org, version 2): exports that describe themselves, written and read."""
