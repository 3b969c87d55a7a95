"""What goes over the wire: requests made from the feature table, answers, lists and problems."""
