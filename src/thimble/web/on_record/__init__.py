"""What the register of people documents about the worker of a case, to take over as facts."""
