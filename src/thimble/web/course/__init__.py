"""The course of HIV prophylaxis: one page for the review at 72 hours, at two weeks and at the end."""
