"""The crew plan: which official stands where and watches what."""
