"""Pages over HTTP: what each role sees, and what it does not."""
