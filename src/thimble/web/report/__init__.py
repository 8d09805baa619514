"""The exposed worker's pages: first aid at once, where to go, and a report. No sign-in."""
