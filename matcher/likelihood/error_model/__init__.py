"""How a reading differs from an entry: parts, instruments, miscounts, gross errors; as densities and their sums."""
