"""What is asked of the team who look after the source patient."""
