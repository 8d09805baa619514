"""What comes up again for the people of the register."""
