"""The reference dashboard at ``/board``: plain pages that use nothing but the public API, with the caller's own key.

It is an example for whoever writes a dashboard, and enough for an adviser who has none.  Nothing here knows the
records or what they mean: every figure on a page came over the same addresses that anybody may call, so access,
consent, visits, limits and refusals are those of the API (``tests/vineyard/board/test_only_the_api.py``).
"""
