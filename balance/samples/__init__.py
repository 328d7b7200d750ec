"""Which vines to weigh, and what the weights of some say."""
