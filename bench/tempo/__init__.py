"""Tempo, bar one and form on songs with known answers, beside the general libraries, in one run."""
