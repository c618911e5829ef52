"""What a site has learnt of its camera, and photos read by it."""
