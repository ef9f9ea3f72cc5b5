"""Rehearsals: a crew tries its posts, phones and docket, and nothing of it counts."""
