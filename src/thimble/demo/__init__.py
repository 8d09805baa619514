"""An invented hospital: its settings, its people and its cases. Built by calling `actions` alone."""
