"""A block as a map: every vine by row and place, with what one season says of it."""
