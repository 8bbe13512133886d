"""Files of a song: received, replaced by a new version, removed, restored; and removal from the store.

The upload protocol knows no songs: it hands finished files to `receivers.py`.
"""
