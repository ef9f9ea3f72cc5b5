"""What an umpire's phone shows: everything that is needed at a take-over, in one answer."""
