"""The typed Python client of the JSON interface, plain and asynchronous."""

from api.client.client import Client, ProblemError

__all__ = ["Client", "ProblemError"]
