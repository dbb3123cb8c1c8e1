"""The pure core: events and time in, commands out. No I/O, no clock, no randomness."""
