"""The append-only account of everything that was done at a meet: a Merkle log, one a meet."""
