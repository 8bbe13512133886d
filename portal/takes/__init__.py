"""Rough mixes of takes, and what the client says of them."""
