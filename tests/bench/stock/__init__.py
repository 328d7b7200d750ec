"""The ordinary way, for comparison: a ModelSerializer with ``many=True`` on the same table, Django REST framework as it comes.

Its role is not bound by row-level security, its caller is known by a token, and it is sent what ours works out itself:
the block, the season, the kilograms.
"""
