"""Addresses of benchmarks."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.benchmarks import block_places, program_seasons, snapshots

_ONE: Final = "programs/<uuid:program>/benchmarks/<uuid:benchmark>"
ADDRESSES: Final = [
    path("programs/<uuid:program>/benchmarks", snapshots.Benchmarks.as_view(), name="benchmarks"),
    path(_ONE, snapshots.OneBenchmark.as_view(), name="benchmark"),
    path(f"{_ONE}/cancellation", snapshots.BenchmarkCancellation.as_view(), name="benchmark-cancellation"),
    path(f"{_ONE}/retry", snapshots.BenchmarkRetry.as_view(), name="benchmark-retry"),
    path("programs/<uuid:program>/season-summary", program_seasons.ProgramSeason.as_view(), name="program-season"),
    path(
        "farms/<uuid:farm>/blocks/<uuid:block>/benchmark", block_places.BlockBenchmark.as_view(), name="block-benchmark"
    ),
]
