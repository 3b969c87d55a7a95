"""Addresses of the JSON interface that only compute."""

from __future__ import annotations

COMPUTING = {
    "/v1/identify",
    "/v1/identify/explain",
    "/v1/measure",
    "/v1/measure/row",
    "/v1/review",
    "/v1/contact-map",
    "/v1/current",
    "/v1/inquiry",
    "/v1/mates",
    "/v1/order-note",
}
"""They take a body and store nothing: reads by another method."""
