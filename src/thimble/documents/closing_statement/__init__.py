"""The closing statement: what was planned, what became of it, and what every result shows."""
