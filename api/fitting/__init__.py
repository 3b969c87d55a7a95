"""From a known half to a mate that is ordered, wired and soldered: contact maps, current, lands, order notes."""
