"""What is told, once and in time: rules.py says what is wrong now, engine.py when to speak of it."""
