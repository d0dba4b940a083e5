"""All ways in, by name."""

from stress.pages import PAGES
from stress.surfaces import SURFACES

WAYS_IN = SURFACES | PAGES
