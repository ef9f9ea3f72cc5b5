"""Erasing what a meet holds of people; its results and its record stay good."""
