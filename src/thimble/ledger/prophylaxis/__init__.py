"""A course of prophylaxis: what is on record of it, what it covers, what it asks for."""
