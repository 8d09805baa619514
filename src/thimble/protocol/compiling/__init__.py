"""Tables compiled: a question's rules become one dense array, so that a decision is one lookup."""
