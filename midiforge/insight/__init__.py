"""What an exercise asks of the player; reads exercises and nothing else."""
