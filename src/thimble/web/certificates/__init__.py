"""Certificates of clearance: issued from the register, checked by anybody who is shown one."""
