"""An exercise as rows of text: the same for the terminal, the live screen and pictures."""
