"""Clinic sessions: made, booked, and worked through."""
