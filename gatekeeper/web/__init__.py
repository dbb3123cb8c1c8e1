"""The phone page: FastAPI, one live stream, static files."""
