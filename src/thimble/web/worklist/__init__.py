"""Everyone's next thing, and the shift handover."""
