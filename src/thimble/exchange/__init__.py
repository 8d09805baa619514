"""What other systems send: bytes in, our own values out, stored before anything is acknowledged."""
