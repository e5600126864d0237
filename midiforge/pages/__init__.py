"""Pages to read and play from: MusicXML, SVG, PDF, HTML."""
