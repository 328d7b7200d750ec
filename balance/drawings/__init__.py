"""Drawings of ours as SVG: plain text from figures, with no font, script or picture from elsewhere."""
