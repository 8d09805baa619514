"""The source patient: what is on record, and the chase for their result."""
