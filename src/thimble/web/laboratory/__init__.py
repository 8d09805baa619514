"""Messages of the laboratory: matched with cases, or held for a person."""
