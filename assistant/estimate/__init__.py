"""What the boat and the water do, from readings that passed the gate. Pure."""
