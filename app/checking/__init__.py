"""What a database says of itself: whether all that it holds is what its records tell of."""
