"""Its place lets tests in every folder import the helpers beside it."""

from hypothesis import settings

# No time limits, and the same examples every time.
settings.register_profile("same", deadline=None, derandomize=True)
settings.load_profile("same")
