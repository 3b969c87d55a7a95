"""From likelihoods to an answer: posterior, evidence, goodness of fit, verdict."""
