"""Everything of a farm as one file: sheets found in the registry, read at one point in time, written as a ZIP."""
