"""Keys of a drill: what is known of each, and how its value is read and checked."""
