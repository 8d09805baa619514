"""Certificates of clearance for work: what one states, how it is signed, and when it needs another look."""
