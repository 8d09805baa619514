"""Accounts, settings and checks. No clinical data."""
