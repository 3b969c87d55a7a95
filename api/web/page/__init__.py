"""What all pages share: frame, forms, addresses, freshness."""
