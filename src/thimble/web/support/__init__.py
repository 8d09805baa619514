"""Support offered to the worker."""
