"""What happened to whom, append only; what is known as of a moment; and the plan that follows."""
