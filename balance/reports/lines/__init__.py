"""What a line of the summary says of a block: where it stands, what changed, what to do, and how sure that is."""
