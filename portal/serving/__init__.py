"""How the house is served: gunicorn's processes, with a loop of our own in front of the threads (`worker.py`)."""
