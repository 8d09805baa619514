"""The certificate of clearance, for a school or hospital: what somebody is cleared for, and no more."""
