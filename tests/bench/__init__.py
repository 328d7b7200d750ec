"""The benchmark: ratios measured side by side in one run, with the references kept here. Never timed in the gate."""
