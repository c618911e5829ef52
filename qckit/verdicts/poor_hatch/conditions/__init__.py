"""What was different about a hatch, how unusual that was and what it should have cost."""
