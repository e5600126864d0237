"""The page of `midiforge open`: a face for people who open no terminal."""
