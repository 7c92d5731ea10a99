"""Evaluate calculators: parse and validate inputs, convert units, propagate uncertainty, write the response."""
