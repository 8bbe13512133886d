"""A song's check: what it is made from, its findings, the questions to the client and their answers.

`jobs.py` measures, `apply_check.py` draws the consequences, `services.py` is what people decide.
"""
