"""The measuring compared with the simulator's truth: ``python -m inspector.simulate.accuracy``."""
