"""The record as one folder or one ZIP that stands for itself, and the checker that goes with it."""
