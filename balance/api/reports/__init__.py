"""Reports over the API: ask, follow, fetch; schedules; receivers of webhooks."""
