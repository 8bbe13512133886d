"""Levels, line-up, formats and false alarms against standards, other libraries and real recordings."""
