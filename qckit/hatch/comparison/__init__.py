"""A lot against another lot or a claim, and what is near enough."""
