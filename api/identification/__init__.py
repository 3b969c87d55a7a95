"""Identification requests and answers: candidates, advice, the dialogue, tools at hand, cautions."""
