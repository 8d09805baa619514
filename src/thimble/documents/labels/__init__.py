"""Sheets of labels with a barcode: numbers of samples, codes of people."""
