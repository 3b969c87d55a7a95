"""People: contributors, their tokens, and the policy of who may do what."""
