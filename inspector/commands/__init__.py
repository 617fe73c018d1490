"""The commands of `inspector`, one job a module."""
