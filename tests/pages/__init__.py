"""Pages over HTTP: what each shows, to whom, in which language, and what browsers are told."""
