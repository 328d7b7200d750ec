"""Rate limits that hold across every process: tokens in Valkey, taken by one atomic script.

    from vineyard.limits import allow
    told = allow("login_account", email)
    if not told: ...answer 429 with told.wait_seconds...

Which limits there are, and how large, stands in ``settings.RATE_LIMITS``.
"""

from vineyard.limits.buckets import Allowance, Bucket, Standing, allow, allow_together, forget, limited
from vineyard.limits.rates import Limit

__all__ = ["Allowance", "Bucket", "Limit", "Standing", "allow", "allow_together", "forget", "limited"]
