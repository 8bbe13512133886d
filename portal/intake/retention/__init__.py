"""How long the originals of a finished booking stay, and who is told before they go.

`jobs.py` is what the clock does, `services.py` what people decide.
"""
