"""Cohorts before their first day: who is ready, what is missing, what it will take, and letters to them."""
