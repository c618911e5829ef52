"""What several verdicts ask of a lot: what is expected of it, what is usual for it, whether a hatch is poor."""
