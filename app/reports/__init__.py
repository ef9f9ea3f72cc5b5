"""Calls, reports, the cases they form, and the docket."""
