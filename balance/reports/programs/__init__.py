"""Season reports of programs: what many farms together show, within their consents and the privacy rules."""
