"""Where things are kept: engine, column types, and the one writer that commits."""
