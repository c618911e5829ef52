"""Signs that a photo is not what the camera took: torn, cut, shifted, doubled or put together."""
