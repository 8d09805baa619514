"""The plan, for the worker: plain words, dates, warning signs, phone numbers."""
