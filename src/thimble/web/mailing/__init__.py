"""Mail to workers about their appointments: nothing clinical in it, sent only to who agreed."""
