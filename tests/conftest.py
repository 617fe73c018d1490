"""Its place lets tests in every folder import the helpers beside it."""
