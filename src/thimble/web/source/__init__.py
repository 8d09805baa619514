"""The source patient: asked, consented or refused, sampled, result. Seen by the fewest."""
