"""What the clusters will bring, how sure that is, and how many to leave."""
