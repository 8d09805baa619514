"""The patient's own protection, where the worker's blood may have come back to the patient."""
