"""The endpoint of the spur plan."""
