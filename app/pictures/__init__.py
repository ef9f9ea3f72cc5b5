"""Pictures that belong to a report: the original, and a copy that is safe to show."""
