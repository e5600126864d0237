"""A session at the kit that runs by itself: it plays, hears, decides and goes on."""
