"""The virtual shop around the very same core and service."""
