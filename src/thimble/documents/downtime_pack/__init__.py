"""The decision tables and blank forms, for when computers are down."""
