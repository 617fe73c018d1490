"""Scenes and cameras made by the computer: frames whose truth is known."""
