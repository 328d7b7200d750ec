"""Which nodes to keep on which cane of a vine, and why; the choice is exactly the cheapest by points that are ours."""
