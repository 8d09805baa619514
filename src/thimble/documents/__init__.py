"""What is printed: data and a Typst template for each document, one renderer to tagged PDF/A."""
