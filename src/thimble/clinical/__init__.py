"""What the numbers and instants of the trade mean. Imports the protocol engine only."""
