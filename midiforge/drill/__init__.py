"""A drill: the one idea a lesson is made from, read and checked."""
