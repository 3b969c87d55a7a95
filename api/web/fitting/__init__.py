"""Pages of what follows identification: mates and room, order note, wiring, current, inquiry."""
