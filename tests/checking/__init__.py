"""Checking a database against its records."""
