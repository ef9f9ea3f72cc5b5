"""Rounds: who goes on to the next one, by place, by time, by decision or by lot, and the points."""
