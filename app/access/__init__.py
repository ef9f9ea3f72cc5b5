"""Who people are and what they may do: officials, personal links, sessions, PINs, roles."""
