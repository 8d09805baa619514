"""A course of HIV prophylaxis: how long it lasts and what is due while it runs, from tables alone."""

from thimble.clinical.prophylaxis.tables import course_days, medicine_in, put, tables
from thimble.clinical.prophylaxis.vocabulary import vocabulary

__all__ = ["course_days", "medicine_in", "put", "tables", "vocabulary"]
