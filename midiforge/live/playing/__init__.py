"""What is played next, and how."""
