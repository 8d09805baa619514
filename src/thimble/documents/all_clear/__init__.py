"""The all-clear certificate, for the worker: the follow-up of one exposure is complete."""
