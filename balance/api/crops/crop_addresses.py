"""Addresses of crop load and vine size."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.crops import (
    block_crop_load,
    crop_load,
    vine_size,
    vine_size_trend,
)

_BLOCK: Final = "farms/<uuid:farm>/blocks/<uuid:block>"
ADDRESSES: Final = [
    path("balance/crop-load", crop_load.StatelessCropLoad.as_view(), name="stateless-crop-load"),
    path(f"{_BLOCK}/crop-load", block_crop_load.CropLoad.as_view(), name="block-crop-load"),
    path(f"{_BLOCK}/vine-size", vine_size.VineSize.as_view(), name="block-vine-size"),
    path(f"{_BLOCK}/vine-size-trend", vine_size_trend.VineSizeTrend.as_view(), name="block-vine-size-trend"),
]
