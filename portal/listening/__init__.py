"""Asking the client by ear: some bars with the click on top, and one tap for an answer."""
