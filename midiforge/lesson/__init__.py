"""From a drill to its exercises: the music is made here and nowhere else."""
