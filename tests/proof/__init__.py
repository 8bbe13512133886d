"""Checks of what Kitpost hands out that use none of its code: `python -m tests.proof.pack FOLDER_OR_ZIP`."""
