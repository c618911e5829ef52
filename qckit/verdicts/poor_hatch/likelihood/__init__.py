"""What everything that is known of a hatch says of each cause, as likelihoods and weights."""
