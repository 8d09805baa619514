"""The clinician's desk: one case, its clock, the next question, and the plan that forms beside it."""
