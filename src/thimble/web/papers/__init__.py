"""What is printed: the worker's plan, the clinician's summary, the request, the ward card, the pack."""
