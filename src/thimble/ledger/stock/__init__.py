"""Stock of what is given after an exposure: movements that only append, folded to what is there."""
