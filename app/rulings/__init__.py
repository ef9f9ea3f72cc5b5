"""The head official's rulings, and the disqualifications they put on the result."""
