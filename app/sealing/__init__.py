"""The meet's seal: its keys and certificates, and the papers that were sealed with it."""
