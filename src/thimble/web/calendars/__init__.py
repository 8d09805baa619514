"""The worker's own calendar: a file, and a secret address that a phone fetches by itself."""
