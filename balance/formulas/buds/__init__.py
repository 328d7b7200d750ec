"""What lived through the cold, and how many nodes published rules leave for it."""
