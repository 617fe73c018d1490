"""Measures how long a frame takes, and how much memory, beside what one might do instead."""
