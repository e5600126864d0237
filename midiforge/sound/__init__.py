"""Sound: an exercise as audio that loops, rendered by FluidSynth from a SoundFont."""
