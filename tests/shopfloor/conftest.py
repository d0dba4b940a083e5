"""Settings for every test beside this file."""

from hypothesis import settings

# The machine is shared: how long one example takes says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")
