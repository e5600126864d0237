"""The material: stickings and repeating lines, and the ways to move them."""
