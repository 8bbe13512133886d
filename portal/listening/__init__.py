"""Asking the client with a listening check: some bars with the click on top, and one tap for an answer."""
