"""Results of the laboratory as a case holds them, and what follows from them."""
