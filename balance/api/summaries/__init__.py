"""Summaries over the API: a season at a glance, trends, distributions, comparisons, what needs a look, what lacks."""
