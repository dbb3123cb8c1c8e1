"""Dust-collection control for a small woodworking shop."""

__version__ = "0.1.0"
