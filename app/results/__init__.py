"""Finish lists, annotated results, announcements, and the windows they open."""
