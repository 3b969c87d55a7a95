"""Confirming, disputing and sighting, and the evidence shown."""
