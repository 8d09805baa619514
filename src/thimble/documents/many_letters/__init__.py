"""Letters of one kind to many people, in one file."""
