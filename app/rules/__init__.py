"""What the rule books say about a relay: pure functions over frozen facts."""
