"""Maps of blocks."""
