"""Formulas of the trade: numbers and numpy arrays in, the same out; no framework, no clock, no chance."""
