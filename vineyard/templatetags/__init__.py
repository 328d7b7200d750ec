"""How figures and words are written on pages."""
