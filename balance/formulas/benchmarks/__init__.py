"""Benchmarks: where a planting lies among those of many growers."""
