"""One case on paper, for the clinician who takes over."""
