"""Benchmarks between growers: snapshots of a program's season that tell of many farms and of none."""
