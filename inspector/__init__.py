"""Tethered-capture exposure inspector: is the background white, and does it spill?"""

__version__ = "0.1.0"
