"""Cordons that need replacing: the steps of it, and what sources say of the shoot."""
