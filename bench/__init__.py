"""The project's own figures: how fast the engine is beside named baselines, and how often it is right.

`python -m bench` makes everything it measures, so anyone can run it. It needs the development requirements.
"""
