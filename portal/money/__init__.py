"""Quotes and payments."""
