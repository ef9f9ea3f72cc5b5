"""What phones' browsers do themselves: passkeys and keys of their own, in a real Chromium."""
