"""Lists of people from elsewhere: looked at row by row, written, taken back; and the register as a file."""
