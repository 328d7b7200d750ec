"""What many records come to: rows kept per block and season, and where they are read from."""
