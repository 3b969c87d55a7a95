"""People: contributors, the tokens that they are known by, and the whole policy of who may do what."""
