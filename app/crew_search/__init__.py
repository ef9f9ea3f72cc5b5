"""Planning a meet's crew: what is wished, a search in a process of its own, and its plan."""
