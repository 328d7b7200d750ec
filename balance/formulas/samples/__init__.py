"""How many vines to weigh, which, and what their weights say of the rest."""
