"""How sure the decision is: draws of the uncertain inputs through the one path, and what follows.

Imported on demand: scipy takes a second to load.
"""
