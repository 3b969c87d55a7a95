"""From a request to an answer: candidates, advice, the dialogue, tools at hand, cautions."""
