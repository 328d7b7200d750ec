"""The forms of a report, a module each: from the document, and nothing else, to bytes."""
