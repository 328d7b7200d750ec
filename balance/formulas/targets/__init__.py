"""What to keep on a vine: the target, how it is told, what it is held against, and the count."""
