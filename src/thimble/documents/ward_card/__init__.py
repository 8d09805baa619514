"""First aid and where to go, for the wall."""
