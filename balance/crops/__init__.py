"""Crops beside the prunings of the winter after, and the size of vines over the years."""
