"""HTML for phone, head official, results desk, jury, organiser and notice board."""
