"""Protests, the referee's decisions, appeals, and the jury that decides them."""
