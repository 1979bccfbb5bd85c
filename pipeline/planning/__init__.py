"""What next year may need: forecasts, parts, stock and fleet, as estimates for purchasing."""
