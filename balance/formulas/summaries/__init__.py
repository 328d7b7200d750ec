"""Sums over many blocks from what is kept of each: means and deviations together, quantiles of bins, shares."""
