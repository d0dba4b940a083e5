"""Shared machines are slow at times: a deadline per example says nothing about the code."""

from hypothesis import settings

settings.register_profile("no_deadline", deadline=None)
settings.load_profile("no_deadline")
