"""From sentences to readings worth using. Pure."""
