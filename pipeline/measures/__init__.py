"""The SQL models and the pure functions that they lean on."""
