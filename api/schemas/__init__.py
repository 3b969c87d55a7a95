"""Models of the JSON interface: requests (made from the feature table), answers, lists and problems."""
