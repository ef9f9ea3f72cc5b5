"""Meets, their events, heats, lanes and teams."""
