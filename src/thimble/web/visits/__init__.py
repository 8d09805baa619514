"""The visits of a case, and the recall list."""
