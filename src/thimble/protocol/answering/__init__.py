"""What a situation comes to: settled decisions, what is still possible, and the facts that matter."""
