"""Benchmarks between growers, over HTTP."""
