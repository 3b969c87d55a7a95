"""The typed Python client of the JSON interface."""

from api.client.client import Client
from api.client.connection import ProblemError

__all__ = ["Client", "ProblemError"]
